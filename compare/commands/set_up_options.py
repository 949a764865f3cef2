"""Options that several commands share, and checks of options before anything is done."""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

import click

from capture.errors import FoldgaugeError

if TYPE_CHECKING:
    from capture.files import FileKind
    from capture.setup import Setup

Use = Literal["auto", "arch", "backdrop"]
Rule = Literal["guarded", "simple"]

MOST_STANDOFF_MM: Final = 1000.0

F = TypeVar("F", bound=Callable[..., Any])

RULE_SD_MM = 0.1  # a steel rule read to 0.1-0.2 mm between two ticks; common practice, no source


def bars(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[float, ...] | None:
    """Parse "A,U" or "A,U,SD": lengths of the check bars across and up, mm, and how well they were read.

    Without SD, bars read to whole millimetres are half a millimetre doubtful either way (u = 0.5/sqrt(3)).
    """
    if value is None:
        return None
    words = value.split(",")
    try:
        numbers = tuple(float(v) for v in words)
    except ValueError:
        numbers = ()
    if len(numbers) not in (2, 3):
        raise click.BadParameter(
            f'two lengths in mm with a comma between are wanted, like "150.2,100.1", got {value!r}'
        )
    if len(numbers) == 3:
        return numbers
    whole = all("." not in word for word in words)
    return (*numbers, max(RULE_SD_MM, 0.5 / 3**0.5) if whole else RULE_SD_MM)


def check_range(option: str, value: float | None, low: float, high: float) -> None:
    """Refuse a length (mm) outside what makes sense; None is "not given"."""
    if value is not None and not low <= value <= high:
        raise FoldgaugeError(f"{option}: {low:g} to {high:g} mm is wanted, got {value:g}")


def check_standoff(standoff_mm: float | None) -> None:
    """Refuse a standoff that cannot be."""
    check_range("--standoff", standoff_mm, 0.0, MOST_STANDOFF_MM)


@dataclass(frozen=True, slots=True)
class Output:
    """A file to be written: the option that names it, where, and what kind of file it is."""

    option: str
    path: Path | None
    kind: "FileKind"


def check_outputs(
    outputs: Sequence[Output], inputs: Iterable[str | Path | None], *, replace: bool = False
) -> None:
    """Refuse names and places of result files that cannot work, before anything is read or measured.

    Parameters
    ----------
    outputs : what is to be written; those without a path are not asked for.
    inputs : files this run reads (or a ledger it writes into); none of them is ever written over.
    replace : True if anything else may be (`--force`).
    """
    from capture.files import require_replaceable
    from compare.compare_errors import OutputError

    read = [Path(p) for p in inputs if p is not None]
    wanted: dict[Path, str] = {}
    for output in outputs:
        path = output.path
        if path is None:
            continue
        if path.suffix.lower() not in output.kind.suffixes:
            endings = " or ".join(output.kind.suffixes)
            raise OutputError(f"{output.option}: a name that ends in {endings} is wanted, got {path.name!r}")
        if not os.path.isdir(path.absolute().parent):
            raise OutputError(f"{output.option}: the folder {path.parent} does not exist")
        if any(_same_file(path, other) for other in read):
            raise OutputError(f"{output.option}: {path} is what is read; choose another name")
        place = path.absolute()
        if place in wanted:
            raise OutputError(f"{output.option}: {path} is the file of {wanted[place]}; choose another name")
        wanted[place] = output.option
        if not replace:
            require_replaceable(path, output.kind, OutputError)


def _same_file(one: Path, other: Path) -> bool:
    """Return whether two names are of one file, by whatever way they lead to it."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return one.absolute() == other.absolute()


def force_option(command: F) -> F:
    """Add --force."""
    return click.option(
        "--force", is_flag=True, help="Replace files that are there, also such as foldgauge did not write."
    )(command)


def use_option(command: F) -> F:
    """Add --use."""
    return click.option(
        "--use",
        type=click.Choice(["auto", "arch", "backdrop"]),
        default="auto",
        show_default=True,
        help="arch: cut sheet flush with the near end; backdrop: uncut sheet behind the dummy.",
    )(command)


def points_option(command: F) -> F:
    """Add --points."""
    return click.option(
        "--points",
        type=click.Path(path_type=Path),
        metavar="JOINTS.csv",
        help="Joints pointed at by hand: lines joint,x,y[,sd] in pixels, under that header.",
    )(command)


def set_up_options(command: F) -> F:
    """Add --bars, --printer and --camera."""
    for option in (
        click.option(
            "--camera",
            type=click.Path(path_type=Path),
            metavar="CAMERA.toml",
            help="A camera calibrated by 'foldgauge camera'.",
        ),
        click.option(
            "--printer",
            type=click.Path(path_type=Path),
            metavar="PRINTER.toml",
            help="With --bars: remember them here; without: take them from here.",
        ),
        click.option(
            "--bars",
            callback=bars,
            metavar="A,U[,SD]",
            help="The two check bars as measured, across and up, mm (and how doubtful a reading is).",
        ),
    ):
        command = option(command)
    return command


def setup_of(
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
) -> "Setup":
    """Return the set-up that was given; files are read here, and only read.

    Bars that are given count before the printer's file; that it is one is looked at all the same, for the
    bars are to be remembered there (`remember_bars`).
    """
    from capture.camera.camera_file import read_camera
    from capture.setup import Setup
    from capture.sheet.printer_file import read_printer

    check_standoff(standoff)
    if printer is not None and bars is not None and not os.path.isdir(printer.absolute().parent):
        raise FoldgaugeError(f"--printer: the folder {printer.parent} does not exist")
    known = None
    if printer is not None and (bars is None or printer.exists()):
        known = read_printer(printer)
    return Setup(
        use=use,
        standoff_mm=standoff,
        bars_mm=bars,
        printer=known,
        camera=None if camera is None else read_camera(camera),
    )


def remember_bars(printer: Path | None, bars: tuple[float, ...] | None, papers: Iterable[str]) -> None:
    """Write bars that were given into the printer's file, for the papers they were good for."""
    if printer is None or bars is None:
        return
    from capture.sheet.printer_file import remember

    remember(printer, tuple(dict.fromkeys(papers)), bars)
