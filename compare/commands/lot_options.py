"""Options and progress that the commands of `foldgauge lot` share."""

import re
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from compare.commands.set_up_options import Rule, Use, set_up_options, setup_of, use_option

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from compare.lot.run.checking import Checking
    from compare.lot.run.runner import Tally

LEVELS: Final = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
LEDGER: Final = "foldgauge-ledger.sqlite"


def ledger_option(function: Any) -> Any:
    """Add --ledger."""
    return click.option(
        "--ledger",
        default=LEDGER,
        show_default=True,
        envvar="FOLDGAUGE_LEDGER",
        help="SQLite file, or a URL like postgresql://user@host/database.",
    )(function)


def photo_options(function: Any) -> Any:
    """Add what says how photos were taken and which sample they show."""
    for option in (
        click.option("--manifest", type=click.Path(path_type=Path), help="CSV: sample, photo, labels, time."),
        click.option("--naming", metavar="RULE", help='Instead: how photos are named, "{sample}_{shot}".'),
        use_option,
        click.option("--standoff", type=float, help="Backdrop: mm from the sheet to the near end."),
        set_up_options,
        click.option(
            "--workers", type=click.IntRange(1, 512), help="Processes (default: one per processor)."
        ),
        click.option("--scheduler", metavar="ADDRESS", help="Run on the workers of this Dask scheduler."),
    ):
        function = option(function)
    return function


def checking_of(
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    rule: Rule,
) -> "Checking":
    """Return how the samples are to be checked."""
    from compare.lot.run.checking import Checking
    from compare.tell.lot.ledger_telling import TO_LEDGER
    from compare.verdict.conformity import Rule as Judged

    setup = setup_of(use, standoff, bars, printer, camera)
    return Checking(setup=setup, telling=TO_LEDGER, rule=Judged(rule))


def master_file(text: str) -> tuple[str, Path]:
    """Return sample and file of a --master.

    Raises
    ------
    LotError : it is not SAMPLE=FILE.
    """
    from compare.compare_errors import LotError, LotOption

    parts = re.fullmatch(r"([^=]+)=(.+)", text)
    if parts is None:
        raise LotError(LotOption.MASTER, f": a sample and its file are wanted, 7=readings.csv, got {text!r}")
    return parts[1].strip(), Path(parts[2].strip())


@contextmanager
def progress(what: str) -> "Iterator[Callable[[Tally], None]]":
    """Show a bar with the time left on a terminal, a line every tenth of the way elsewhere (stderr)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        told = [-1]

        def tell(tally: "Tally") -> None:
            left = tally.total - tally.known
            tenth = 10 * tally.done // left if left else 10
            if tenth != told[0] and tally.done:
                told[0] = tenth
                click.echo(f"{what}: {tally.done} of {left} done", err=True)

        yield tell
        return
    bar = Progress(
        TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(),
        TimeRemainingColumn(), TextColumn("{task.fields[bad]}"), console=console, transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task(what, total=None, bad="")

        def show(tally: "Tally") -> None:
            bad = f"{tally.bad} not usable" if tally.bad else ""
            bar.update(task, total=tally.total - tally.known, completed=tally.done, bad=bad)

        yield show
