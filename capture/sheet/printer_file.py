"""Bars that were read once, remembered in a small file: one file per printer, one entry per paper."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from capture.errors import Option, SheetError
from capture.files import FileKind, read_toml, write_whole
from capture.printable import name_of
from capture.sheet.marker_sheet import SHEETS, MarkerSheet
from capture.sheet.print_scale import PrintScale

Bars = Sequence[float]
"""Across, up and, if known, the standard uncertainty of one reading; mm."""


PRINTER_FILE: Final = FileKind("a printer's file", (".toml",), b"# Check bars as measured, per paper")


@dataclass(frozen=True, slots=True)
class Printer:
    """A printer's file as read.

    Attributes
    ----------
    name, sha256 : of the file. bars : paper -> bars, as remembered.
    """

    name: str
    sha256: str
    bars: Mapping[str, tuple[float, ...]]

    def scale(self, sheet: MarkerSheet) -> PrintScale:
        """Scale of a print on this sheet's paper.

        Raises
        ------
        SheetError
            The file knows nothing of this paper, or its bars make no sense.
        """
        if sheet.paper not in self.bars:
            raise SheetError(
                f"{self.name} knows no bars of the {sheet.paper} sheet; measure them and give ",
                Option.BARS,
                " once with ",
                Option.PRINTER,
            )
        return PrintScale.from_bars(sheet, *self.bars[sheet.paper])


def read_printer(path: Path) -> Printer:
    """Read the bars by paper, as remembered.

    Raises
    ------
    SheetError
        The file cannot be read or is no such file.
    """
    foreign = (f"{path.name} is not a printer file; choose another name for ", Option.PRINTER)
    data, content = read_toml(
        path,
        SheetError,
        missing=(
            f"no printer file at {path}; give ",
            Option.BARS,
            " once with ",
            Option.PRINTER,
            " to make it",
        ),
        foreign=foreign,
    )
    out: dict[str, tuple[float, ...]] = {}
    for paper, bars in data.items():
        numbers = isinstance(bars, list) and all(_is_number(v) for v in bars)
        if paper not in SHEETS or not numbers or len(bars) not in (2, 3):
            raise SheetError(*foreign)
        out[paper] = tuple(float(v) for v in bars)
    return Printer(name_of(path), hashlib.sha256(content).hexdigest(), out)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6


def remember(path: Path, papers: Sequence[str], bars_mm: Bars) -> None:
    """Write the bars of papers into a printer's file; those of other papers stay.

    Raises
    ------
    SheetError
        The file cannot be written, or is something else.
    """
    known = dict(read_printer(path).bars) if path.exists() else {}
    known |= dict.fromkeys(papers, tuple(bars_mm))
    lines = ["# Check bars as measured, per paper: across, up, standard uncertainty of a reading (mm)"]
    lines += [f"{name} = [{', '.join(f'{v:g}' for v in bars)}]" for name, bars in known.items()]
    text = "\n".join(lines) + "\n"
    write_whole(  # what stood there was read above, and is a printer's file
        path, lambda part: part.write_text(text, encoding="utf-8"), SheetError, PRINTER_FILE, replace=True
    )
