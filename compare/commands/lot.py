"""foldgauge lot: samples of a production lot, checked together and judged as a lot."""

import sys
from pathlib import Path

import click

from capture.printable import printable
from compare.commands.lot_options import (
    LEVELS,
    checking_of,
    ledger_option,
    master_file,
    photo_options,
    progress,
)
from compare.commands.lot_tools import export_lot, history_lot, plan_lot, study_lot
from compare.commands.set_up_options import Output, Rule, Use, check_outputs, force_option
from compare.commands.unexpected import INTERRUPTED, TERMINATED, Terminated
from compare.compare_errors import LotError, LotOption


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


@lot.command("check")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--spec", required=True, type=click.Path(path_type=Path), help="The design (TOML).")
@photo_options
@click.option(
    "--rule", type=click.Choice(["guarded", "simple"]), default="guarded", show_default=True,
    help="guarded: only what is sure passes or fails; simple: the measured value alone decides.",
)  # fmt: skip
@click.option("--size", type=int, help="Pieces in the lot: decide on it by a sampling plan (MIL-STD-105E).")
@click.option("--aql", type=float, default=1.0, show_default=True, help="Acceptance quality limit, percent.")
@click.option("--level", type=click.Choice(LEVELS), default="II", show_default=True)
@click.option(
    "--severity", type=click.Choice(["auto", "normal", "tightened", "reduced"]), default="auto",
    show_default=True, help="auto: by the switching rules, from earlier lots in the ledger.",
)  # fmt: skip
@click.option(
    "--together", metavar="COLUMN", help="Column that tells which samples were taken together (X-bar charts)."
)
@click.option(
    "--master", "masters", multiple=True, metavar="SAMPLE=READINGS.csv",
    help="A sample measured by hand (CSV: length, reading, doubt): what all photos share cancels."
    " May be given several times.",
)  # fmt: skip
@ledger_option
@click.option("--name", help="Name of the lot (default: the folder's).")
@click.option(
    "--report", type=click.Path(path_type=Path), metavar="OUT.html",
    help="Where the report goes (default: lot-NAME.html here).",
)  # fmt: skip
@click.option("--no-report", is_flag=True, help="Write no report.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@force_option
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
    masters: tuple[str, ...],
    ledger: str,
    name: str | None,
    report: Path | None,
    no_report: bool,
    as_json: bool,
    force: bool,
) -> None:
    """Check all samples of a FOLDER against their design and judge the lot.

    Samples already in the ledger are not checked again: run the same command again to go on after a stop.
    Exit code 0: accept, 3: do not accept or stop the line, 4: undecided, 2: it could not be done.
    """
    from dataclasses import replace

    from compare.design.load_spec import load_spec
    from compare.lot.assess_lot import Sampling, assess
    from compare.lot.ledger.ledger import Ledger
    from compare.lot.plans.attribute_plans import plan
    from compare.lot.run.hand_readings import read_hand_readings
    from compare.lot.run.manifest import MANIFEST, read_lot
    from compare.lot.run.runner import run_lot
    from compare.lot.study.master import Master, check_masters
    from compare.tell.result_files import LOT_REPORT

    checking = checking_of(use, standoff, bars, printer, camera, rule)
    design = load_spec(spec)
    files = [master_file(text) for text in masters]
    known = [Master(sample=name, readings=read_hand_readings(path, design.units)) for name, path in files]
    found = read_lot(folder, manifest, naming)
    found = replace(found, name=printable(name)) if name else found
    target = None if no_report else report or Path(f"lot-{_file_name(found.name)}.html")
    check_outputs(
        [Output("--report", target, LOT_REPORT)],
        (spec, manifest or folder / MANIFEST, camera, printer, ledger, *(path for _, path in files)),
        replace=force,
    )
    if together is not None and not any(together in shot.labels for shot in found.shots):
        columns = ", ".join(sorted({label for shot in found.shots for label in shot.labels})) or "none"
        raise LotError(LotOption.TOGETHER, f": the manifest has no column {together!r} (labels: {columns})")
    check_masters(known, dict.fromkeys(shot.sample for shot in found.shots), design)
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
                run = run_lot(found, design, checking, book, workers=workers, scheduler=scheduler, tell=tell)
        except KeyboardInterrupt as stop:
            click.echo(
                f"foldgauge: stopped; what was checked is in {ledger}. The same command goes on from there.",
                err=True,
            )
            ctx.exit(TERMINATED if isinstance(stop, Terminated) else INTERRUPTED)
        assessment = assess(found.name, design, checking, run, book, chosen, together, known)
    if target is not None:
        from compare.lot.worst_samples import look_again
        from compare.tell.lot.lot_page import write_lot_report

        write_lot_report(assessment, target, folder=folder, looked=look_again(assessment, run), replace=force)
    if as_json:
        from compare.tell.check.check_json import to_text
        from compare.tell.lot.lot_json import assessment_dict

        click.echo(to_text(assessment_dict(assessment)))
    else:
        from compare.tell.lot.lot_text import print_assessment

        print_assessment(assessment, sys.stdout)
    if target is not None:
        click.echo(f"The report: {printable(str(target))}", err=as_json)
    ctx.exit(assessment.exit_code)


def _file_name(name: str) -> str:
    """Return a name fit for a file."""
    return "".join(c if c.isalnum() or c in "-_." else "-" for c in name).strip(".-") or "lot"


for _command in (plan_lot, study_lot, history_lot, export_lot):
    lot.add_command(_command)
