"""foldgauge lot: samples of a production lot, checked together and judged as a lot."""

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from capture.errors import FoldgaugeError
from compare.commands.check import Rule, Use
from compare.commands.set_up import set_up_options
from compare.errors import LotError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from compare.lot.runner import Tally

LEVELS: Final = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
LEDGER: Final = "foldgauge-ledger.sqlite"
STOPPED: Final = 130


class LotGroup(click.Group):
    """A group whose first command needs no name: `lot FOLDER` is `lot check FOLDER`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put "check" before arguments that name no command."""
        if args and args[0] not in self.commands and args[0] not in ctx.help_option_names:
            args = ["check", *args]
        return super().parse_args(ctx, args)

    def collect_usage_pieces(self, ctx: click.Context) -> list[str]:
        """Say both ways of calling it."""
        return ["FOLDER --spec SPEC [OPTIONS]", "|", "COMMAND [ARGS]..."]


@click.group(cls=LotGroup)
def lot() -> None:
    """Judge a lot from photos of samples: FOLDER --spec SPEC.

    `foldgauge lot FOLDER` is short for `foldgauge lot check FOLDER`.
    """


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
        click.option(
            "--use", type=click.Choice(["auto", "arch", "backdrop"]), default="auto", show_default=True
        ),
        click.option("--standoff", type=float, help="Backdrop: mm from the sheet to the near end."),
        set_up_options,
        click.option(
            "--workers", type=click.IntRange(1, 512), help="Processes (default: one per processor)."
        ),
        click.option("--scheduler", metavar="ADDRESS", help="Run on the workers of this Dask scheduler."),
    ):
        function = option(function)
    return function


def settings_of(
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    rule: Rule,
) -> dict[str, Any]:
    """Return the keywords of `compare.check`, only those that were given."""
    if standoff is not None and not 0 <= standoff <= 1000:
        raise FoldgaugeError(f"--standoff: 0 to 1000 mm is wanted, got {standoff:g}")
    out: dict[str, Any] = {"use": use, "rule": rule}
    if standoff is not None:
        out["standoff_mm"] = standoff
    if bars is not None:
        out["bars_mm"] = list(bars)
    elif printer is not None:  # with bars given there is nothing to look up
        out["printer_path"] = str(printer.absolute())
    if camera is not None:
        out["camera_path"] = str(camera.absolute())
    return out


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
        TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        TextColumn("{task.fields[bad]}"), console=console, transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task(what, total=None, bad="")

        def show(tally: "Tally") -> None:
            bad = f"{tally.bad} not usable" if tally.bad else ""
            bar.update(task, total=tally.total - tally.known, completed=tally.done, bad=bad)

        yield show


def _check_report(report: Path | None) -> None:
    if report is None:
        return
    if report.suffix.lower() != ".html":
        raise FoldgaugeError(f"--report: a name that ends in .html is wanted, got {report.name!r}")
    if not report.absolute().parent.is_dir():
        raise FoldgaugeError(f"--report: the folder {report.parent} does not exist")


@lot.command("check")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--spec", required=True, type=click.Path(path_type=Path), help="The design (TOML).")
@photo_options
@click.option(
    "--rule", type=click.Choice(["guarded", "simple"]), default="guarded", show_default=True,
    help="guarded: only what is sure passes or fails; simple: the measured value alone decides.",
)  # fmt: skip
@click.option("--size", type=int, help="Pieces in the lot: decide on it by a sampling plan (ISO 2859-1).")
@click.option("--aql", type=float, default=1.0, show_default=True, help="Acceptance quality limit, percent.")
@click.option("--level", type=click.Choice(LEVELS), default="II", show_default=True)
@click.option(
    "--severity", type=click.Choice(["auto", "normal", "tightened", "reduced"]), default="auto",
    show_default=True, help="auto: by the switching rules, from earlier lots in the ledger.",
)  # fmt: skip
@click.option(
    "--together", metavar="COLUMN", help="Column that tells which samples were taken together (X-bar charts)."
)
@ledger_option
@click.option("--name", help="Name of the lot (default: the folder's).")
@click.option(
    "--report", type=click.Path(path_type=Path), metavar="OUT.html",
    help="Where the report goes (default: lot-NAME.html here).",
)  # fmt: skip
@click.option("--no-report", is_flag=True, help="Write no report.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@click.pass_context
def check_lot(
    ctx: click.Context,
    folder: Path,
    spec: Path,
    manifest: Path | None,
    naming: str | None,
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    rule: Rule,
    workers: int | None,
    scheduler: str | None,
    size: int | None,
    aql: float,
    level: str,
    severity: str,
    together: str | None,
    ledger: str,
    name: str | None,
    report: Path | None,
    no_report: bool,
    as_json: bool,
) -> None:
    """Check all samples of a FOLDER against their design and judge the lot.

    Samples already in the ledger are not checked again: run the same command again to go on after a stop.
    Exit code 0: accept, 3: do not accept or stop the line, 4: undecided, 2: it could not be done.
    """
    _check_report(report)
    from dataclasses import replace

    from compare.design.spec import load_spec
    from compare.lot.assess import Sampling, assess
    from compare.lot.attributes import plan
    from compare.lot.ledger import Ledger
    from compare.lot.manifest import read_lot
    from compare.lot.runner import run_lot

    settings = settings_of(use, standoff, bars, printer, camera, rule)
    design = load_spec(spec)
    found = read_lot(folder, manifest, naming)
    found = replace(found, name=name) if name else found
    chosen = None
    if size is not None:
        plan(size, aql, level)  # refuse what the tables do not have before hours of work
        chosen = Sampling(
            size=size,
            aql=aql,
            level=level,
            severity=None if severity == "auto" else severity,  # type: ignore[arg-type]
        )
    with Ledger(ledger) as book:
        try:
            with progress(found.name) as tell:
                run = run_lot(
                    found, design, spec, settings, book, workers=workers, scheduler=scheduler, tell=tell
                )
        except KeyboardInterrupt:
            click.echo(
                f"foldgauge: stopped; what was checked is in {ledger}. The same command goes on from there.",
                err=True,
            )
            ctx.exit(STOPPED)
        assessment = assess(found.name, design, settings, run, book, chosen, together)
    target = None
    if not no_report:
        from compare.report.lot_html import write_lot_report

        target = report or Path(f"lot-{_file_name(found.name)}.html")
        write_lot_report(assessment, target, folder=folder, spec_path=spec, run=run)
    if as_json:
        from compare.lot.as_json import assessment_dict
        from compare.report.as_json import to_text

        click.echo(to_text(assessment_dict(assessment)))
    else:
        from compare.report.lot_text import print_assessment

        print_assessment(assessment, sys.stdout)
    if target is not None:
        click.echo(f"The report: {target}", err=as_json)
    ctx.exit(assessment.exit_code)


def _file_name(name: str) -> str:
    """Return a name fit for a file."""
    return "".join(c if c.isalnum() or c in "-_." else "-" for c in name).strip(".-") or "lot"


@lot.command("plan")
@click.option("--size", type=int, required=True, help="Pieces in the lot.")
@click.option("--aql", type=float, required=True, help="Acceptance quality limit, percent nonconforming.")
@click.option("--level", type=click.Choice(LEVELS), default="II", show_default=True, help="Inspection level.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def plan_lot(size: int, aql: float, level: str, as_json: bool) -> None:
    """Say how many samples to photograph, and how many bad ones to bear."""
    from compare.report.lot_plan import plans, plans_dict, print_plans

    found = plans(size, aql, level)
    if as_json:
        from compare.report.as_json import to_text

        click.echo(to_text(plans_dict(found)))
    else:
        print_plans(found, sys.stdout)


@lot.command("study")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--spec", type=click.Path(path_type=Path), help="The design (TOML); for a folder of photos.")
@click.option(
    "--by", default="person", show_default=True, help="Column that tells who (or what) took a photo."
)
@click.option("--tolerance", type=float, help="For a CSV of readings: plus and minus, mm.")
@photo_options
@ledger_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def study_lot(
    source: Path,
    spec: Path | None,
    by: str,
    tolerance: float | None,
    manifest: Path | None,
    naming: str | None,
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    workers: int | None,
    scheduler: str | None,
    ledger: str,
    as_json: bool,
) -> None:
    """Find out whether photos measure well enough for the tolerance: a gauge study.

    SOURCE is a folder with repeated photos of the same samples by different people or phones and a manifest,
    or a CSV of readings (sample, person, one column per length).
    """
    import math

    from compare.lot.study import Studied, study_photos, study_table
    from compare.report.lot_study import print_study, study_dict

    studied: tuple[Studied, ...]
    if source.suffix.lower() == ".csv" and not source.is_dir():
        if tolerance is not None and not 0 < tolerance < 1000:
            raise LotError(f"--tolerance: more than 0 mm is wanted, got {tolerance:g}")
        studied = study_table(source, by, math.nan if tolerance is None else tolerance)
    else:
        if spec is None:
            raise LotError("--spec: a study of photos wants the design (TOML)")
        from compare.design.spec import load_spec
        from compare.lot.ledger import Ledger
        from compare.lot.manifest import read_lot
        from compare.lot.runner import run_lot
        from compare.lot.samples import load_samples

        design = load_spec(spec)
        found = read_lot(source, manifest, naming)
        settings = settings_of(use, standoff, bars, printer, camera, "guarded")
        with Ledger(ledger) as book, progress(found.name) as tell:
            run = run_lot(
                found, design, spec, settings, book,
                workers=workers, scheduler=scheduler, together=False, tell=tell,
            )  # fmt: skip
            for photo, reason in run.problems:
                click.echo(f"{photo}: {reason}", err=True)
            studied = study_photos(load_samples(book, list(run.keys)), by)
    if as_json:
        from compare.report.as_json import to_text

        click.echo(to_text(study_dict(studied)))
    else:
        print_study(studied, sys.stdout)


@lot.command("history")
@ledger_option
@click.option("--spec", metavar="NAME", help="Only lots of this spec file (its name).")
@click.option("--length", metavar="NAME", help='One thing measured over all lots, like "leg left".')
@click.option(
    "--report", type=click.Path(path_type=Path), metavar="OUT.html", help="Write charts of all lengths."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def history_lot(
    ledger: str, spec: str | None, length: str | None, report: Path | None, as_json: bool
) -> None:
    """Show the lots in the ledger, or how a length ran over them."""
    _check_report(report)
    from compare.lot.ledger import Ledger
    from compare.report.lot_history import history_dict, print_history, read_history, write_history

    with Ledger(ledger, create=False) as book:
        found = read_history(book, spec, length, every=report is not None)
    if report is not None:
        write_history(found, report)
    if as_json:
        from compare.report.as_json import to_text

        click.echo(to_text(history_dict(found)))
    else:
        print_history(found, sys.stdout)
    if report is not None:
        click.echo(f"The charts: {report}", err=as_json)


@lot.command("export")
@click.argument("output", type=click.Path(path_type=Path))
@ledger_option
@click.option(
    "--what", type=click.Choice(["readings", "inspections"]), default="readings", show_default=True,
    help="A row per thing measured, or per sample.",
)  # fmt: skip
@click.option("--lot", "only", metavar="NAME", help="Only this lot.")
def export_lot(output: Path, ledger: str, what: str, only: str | None) -> None:
    """Write the ledger to OUTPUT: .csv, .parquet or .jsonl (JSON lines)."""
    from compare.lot.export import export
    from compare.lot.ledger import Ledger

    with Ledger(ledger, create=False) as book:
        count = export(book, output, what, only)  # type: ignore[arg-type]
    click.echo(f"{output}: {count} rows")
