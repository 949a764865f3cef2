"""Bars that were read once, remembered in a small file: one file per printer, one entry per paper."""

from collections.abc import Sequence
from pathlib import Path

from capture.errors import SheetError
from capture.files import read_toml, write_whole
from capture.sheet.marker_sheet import SHEETS, MarkerSheet
from capture.sheet.print_scale import PrintScale

Bars = Sequence[float]
"""Across, up and, if known, the standard uncertainty of one reading; mm."""


def print_scale_for(sheet: MarkerSheet, bars_mm: Bars | None, printer: Path | None) -> PrintScale | None:
    """Scale of a print from the bars given, else from the printer's file; None if there is neither.

    Bars that are given are remembered in the file, if one is named.

    Raises
    ------
    SheetError
        The bars make no sense, or the file cannot be read or written, or knows nothing of this paper.
    """
    if bars_mm is not None:
        scale = PrintScale.from_bars(sheet, *bars_mm)
        if printer is not None:
            remember(printer, sheet.paper, bars_mm)
        return scale
    if printer is None:
        return None
    known = read_bars(printer)
    if sheet.paper not in known:
        raise SheetError(
            f"{printer.name} knows no bars of the {sheet.paper} sheet; measure them and give --bars once "
            "with --printer"
        )
    return PrintScale.from_bars(sheet, *known[sheet.paper])


def read_bars(path: Path) -> dict[str, tuple[float, ...]]:
    """Bars by paper, as remembered.

    Raises
    ------
    SheetError
        The file cannot be read or is no such file.
    """
    foreign = f"{path.name} is not a printer file; choose another name for --printer"
    missing = f"no printer file at {path}; give --bars once with --printer to make it"
    data = read_toml(path, SheetError, missing=missing, foreign=foreign)
    out: dict[str, tuple[float, ...]] = {}
    for paper, bars in data.items():
        numbers = isinstance(bars, list) and all(isinstance(v, int | float) for v in bars)
        if paper not in SHEETS or not numbers or len(bars) not in (2, 3):
            raise SheetError(foreign)
        out[paper] = tuple(float(v) for v in bars)
    return out


def remember(path: Path, paper: str, bars_mm: Bars) -> None:
    """Write the bars of one paper into a printer's file; those of other papers stay.

    Raises
    ------
    SheetError
        The file cannot be written, or is something else.
    """
    known = read_bars(path) if path.exists() else {}
    known[paper] = tuple(bars_mm)
    lines = ["# Check bars as measured, per paper: across, up, standard uncertainty of a reading (mm)"]
    lines += [f"{name} = [{', '.join(f'{v:g}' for v in bars)}]" for name, bars in known.items()]
    text = "\n".join(lines) + "\n"
    write_whole(path, lambda part: part.write_text(text, encoding="utf-8"), SheetError)
