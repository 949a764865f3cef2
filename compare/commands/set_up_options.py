"""Options that several commands share, and checks of options before anything is done."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

import click

from capture.errors import FoldgaugeError

if TYPE_CHECKING:
    from capture.setup import Setup

Use = Literal["auto", "arch", "backdrop"]
Rule = Literal["guarded", "simple"]

ENDINGS: Final[Mapping[str, str]] = {
    "--annotate": ".png",
    "--csv": ".csv",
    "--draft": ".toml",
    "--report": ".html",
}
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


def check_outputs(outputs: Mapping[str, Path | None]) -> None:
    """Refuse names and places of result files (option -> path) that cannot work, before anything is done."""
    for option, path in outputs.items():
        if path is None:
            continue
        if path.suffix.lower() != ENDINGS[option]:
            raise FoldgaugeError(
                f"{option}: a name that ends in {ENDINGS[option]} is wanted, got {path.name!r}"
            )
        if not path.absolute().parent.is_dir():
            raise FoldgaugeError(f"{option}: the folder {path.parent} does not exist")


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
