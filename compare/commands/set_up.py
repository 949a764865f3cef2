"""Options about camera and print that several commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

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
