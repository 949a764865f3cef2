"""The other commands of `foldgauge lot`: plan, study, history, export."""

import sys
from pathlib import Path

import click

from compare.commands.lot_options import (
    LEVELS,
    checking_of,
    ledger_option,
    photo_options,
    progress,
)
from compare.commands.set_up_options import Output, Use, check_outputs, force_option
from compare.compare_errors import LotError


@click.command("plan")
@click.option("--size", type=int, required=True, help="Pieces in the lot.")
@click.option("--aql", type=float, required=True, help="Acceptance quality limit, percent nonconforming.")
@click.option("--level", type=click.Choice(LEVELS), default="II", show_default=True, help="Inspection level.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def plan_lot(size: int, aql: float, level: str, as_json: bool) -> None:
    """Say how many samples to photograph, and how many bad ones to bear."""
    from compare.tell.lot.lot_plan import plans, plans_dict, print_plans

    found = plans(size, aql, level)
    if as_json:
        from compare.tell.check.check_json import to_text

        click.echo(to_text(plans_dict(found)))
    else:
        print_plans(found, sys.stdout)


@click.command("study")
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

    from compare.lot.study.photo_study import Studied, study_photos, study_table
    from compare.tell.lot.lot_study import print_study, study_dict
    from compare.tell.words.lots.unused_words import told_unused

    studied: tuple[Studied, ...]
    if source.suffix.lower() == ".csv" and not source.is_dir():
        if tolerance is not None and not 0 < tolerance < 1000:
            raise LotError(f"--tolerance: more than 0 mm is wanted, got {tolerance:g}")
        studied = study_table(source, by, math.nan if tolerance is None else tolerance)
    else:
        if spec is None:
            raise LotError("--spec: a study of photos wants the design (TOML)")
        from compare.design.load_spec import load_spec
        from compare.lot.ledger.ledger import Ledger
        from compare.lot.run.manifest import read_lot
        from compare.lot.run.runner import run_lot
        from compare.lot.run.samples import load_samples

        design = load_spec(spec)
        found = read_lot(source, manifest, naming)
        checking = checking_of(use, standoff, bars, printer, camera, "guarded")
        with Ledger(ledger) as book, progress(found.name) as tell:
            run = run_lot(
                found, design, checking, book,
                workers=workers, scheduler=scheduler, together=False, tell=tell,
            )  # fmt: skip
            for photo, reason in told_unused(run.problems):
                click.echo(f"{photo}: {reason}", err=True)
            studied = study_photos(load_samples(book, list(run.keys)), by)
    if as_json:
        from compare.tell.check.check_json import to_text

        click.echo(to_text(study_dict(studied)))
    else:
        print_study(studied, sys.stdout)


@click.command("history")
@ledger_option
@click.option("--spec", metavar="NAME", help="Only lots of this spec file (its name).")
@click.option("--length", metavar="NAME", help='One thing measured over all lots, like "leg left".')
@click.option(
    "--report", type=click.Path(path_type=Path), metavar="OUT.html", help="Write charts of all lengths."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@force_option
def history_lot(
    ledger: str, spec: str | None, length: str | None, report: Path | None, as_json: bool, force: bool
) -> None:
    """Show the lots in the ledger, or how a length ran over them."""
    from compare.tell.result_files import HISTORY

    check_outputs([Output("--report", report, HISTORY)], [ledger], replace=force)
    from compare.lot.ledger.ledger import Ledger
    from compare.tell.lot.lot_history import history_dict, print_history, read_history, write_history

    with Ledger(ledger, create=False) as book:
        found = read_history(book, spec, length, every=report is not None)
    if report is not None:
        write_history(found, report, replace=force)
    if as_json:
        from compare.tell.check.check_json import to_text

        click.echo(to_text(history_dict(found)))
    else:
        print_history(found, sys.stdout)
    if report is not None:
        click.echo(f"The charts: {report}", err=as_json)


@click.command("export")
@click.argument("output", type=click.Path(path_type=Path))
@ledger_option
@click.option(
    "--what", type=click.Choice(["readings", "inspections"]), default="readings", show_default=True,
    help="A row per thing measured, or per sample.",
)  # fmt: skip
@click.option("--lot", "only", metavar="NAME", help="Only this lot.")
@force_option
def export_lot(output: Path, ledger: str, what: str, only: str | None, force: bool) -> None:
    """Write the ledger to OUTPUT: .csv, .parquet or .jsonl (JSON lines)."""
    from compare.lot.ledger.ledger import Ledger
    from compare.tell.lot.ledger_export import export
    from compare.tell.result_files import EXPORT

    check_outputs([Output("OUTPUT", output, EXPORT)], [ledger], replace=force)
    with Ledger(ledger, create=False) as book:
        count = export(book, output, what, only, replace=force)  # type: ignore[arg-type]
    click.echo(f"{output}: {count} rows")
