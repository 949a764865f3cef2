"""foldgauge check: the main job."""

import sys
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import click

from capture.errors import FoldgaugeError
from compare.commands.check_by_craft import judge_one, require_spec
from compare.commands.project_options import Given, with_project
from compare.commands.set_up_options import (
    Output,
    Rule,
    Use,
    check_outputs,
    force_option,
    points_option,
    remember_bars,
    set_up_options,
    setup_of,
    use_option,
)

if TYPE_CHECKING:
    from compare.jobs.before_after import Changes
    from compare.jobs.check_dummy import Inspection

CONFORMS: Final = 0
FAILS: Final = 3
OPEN: Final = 4
EXIT_CODES: Final = MappingProxyType({"conforms": CONFORMS, "does not conform": FAILS})


@click.command()
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--spec",
    type=click.Path(path_type=Path),
    help="The design (TOML); known in a folder of the desk. Without it the rules of the craft alone judge: "
    "one photo, a parallel fold.",
)
@click.option(
    "--as",
    "taken_for",
    type=click.Choice(["parallel-fold", "oblique"]),
    help="Without --spec: what the dummy is; oblique: its plane is meant to lean.",
)
@use_option
@click.option(
    "--standoff", type=float, help="Backdrop: mm from the sheet to the near end (default: the spec's depth)."
)
@set_up_options
@points_option
@click.option(
    "--reading",
    "readings",
    multiple=True,
    metavar="NAME=LENGTH",
    help='A length read by hand, e.g. "leg left=39.8 +- 0.3"; again for each.',
)
@click.option(
    "--closed",
    type=click.Path(path_type=Path),
    metavar="SHUT.jpg",
    help="Photo of the shut dummy on the uncut sheet, from straight above: what sticks out.",
)
@click.option(
    "--shut-thickness", type=float, metavar="MM", help="Thickness of the shut dummy (default: from the card)."
)
@click.option(
    "--before", type=click.Path(path_type=Path), metavar="BEFORE.json",
    help="Earlier result (--json) of this dummy, taken alike: what a repair changed, and how sure.",
)  # fmt: skip
@click.option("--full", is_flag=True, help="All tables, and what was seen and assumed.")
@click.option("--budget", is_flag=True, help="Also the uncertainty budget of every length.")
@click.option(
    "--rule",
    type=click.Choice(["guarded", "simple"]),
    default="guarded",
    show_default=True,
    help="guarded: only what is sure passes or fails; simple: the measured value alone decides.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@click.option(
    "--annotate", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the photo, drawn on."
)
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    metavar="OUT.html",
    help="Write a page to read, print or send: answer, photo, what to do, motion.",
)
@click.option(
    "--csv",
    "table",
    type=click.Path(path_type=Path),
    metavar="OUT.csv",
    help="Write the items for a spreadsheet.",
)
@force_option
@click.pass_context
def check(
    ctx: click.Context,
    photos: tuple[Path, ...],
    spec: Path | None,
    taken_for: str | None,
    use: Use,
    standoff: float | None,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    points: Path | None,
    readings: tuple[str, ...],
    closed: Path | None,
    shut_thickness: float | None,
    before: Path | None,
    full: bool,
    budget: bool,
    rule: Rule,
    as_json: bool,
    annotate: Path | None,
    report: Path | None,
    table: Path | None,
    force: bool,
) -> None:
    """Check a PHOTO of a dummy against its design; without --spec by the rules of the craft.

    Several photos of the same dummy from different places make the result more certain; photos at other
    openings help as well (the first must show the opening of the design).

    Exit code 0: conforms, 3: does not conform, 4: too close to call, 2: it could not be done.
    """
    from compare.tell.result_files import ANNOTATED, REPORT, TABLE, TRACED

    known = with_project(
        Given(
            spec=spec,
            use=use if _said(ctx, "use") else None,
            bars=bars,
            printer=printer,
            camera=camera,
            rule=rule if _said(ctx, "rule") else None,
        ),
        by_craft=taken_for is not None,
    )
    spec, bars, camera = known.spec, known.bars, known.camera
    use, rule = known.use or use, known.rule or rule
    if spec is None:
        require_spec(
            {
                "more than one photo": len(photos) > 1,
                "--closed": closed is not None,
                "--report": report is not None,
                "--csv": table is not None,
                "--before": before is not None,
                "--budget": budget,
                "--reading": bool(readings),
            }
        )
    elif taken_for is not None:
        raise FoldgaugeError("--as: a spec says what the dummy is; leave one of the two out")
    if shut_thickness is not None and closed is None:
        raise FoldgaugeError("--shut-thickness goes with --closed, the photo of the shut dummy")
    check_outputs(
        (
            Output("--annotate", annotate, ANNOTATED if spec is not None else TRACED),
            Output("--report", report, REPORT),
            Output("--csv", table, TABLE),
        ),
        (*photos, spec, points, closed, camera, printer, before),
        replace=force,
    )
    if spec is None:
        verdict = judge_one(
            photos[0],
            setup_of(use, standoff, bars, printer, camera),
            taken_for=taken_for,
            rule=rule,
            points=points,
            as_json=as_json,
            annotate=annotate,
            replace=force,
            remember=lambda papers: remember_bars(printer, bars, papers),
        )
        ctx.exit(EXIT_CODES.get(verdict, OPEN))
    from compare.jobs.check_dummy import check as run
    from measure.joints.by_hand import read_points

    earlier = None
    if before is not None:
        from compare.jobs.before_after import read_before

        earlier = read_before(before)
    inspection = run(
        photos,
        spec,
        setup_of(use, standoff, bars, printer, camera),
        rule=rule,
        points=() if points is None else read_points(points),
        readings=readings,
        closed=closed,
        shut_mm=shut_thickness,
    )
    changes = None
    if earlier is not None:
        from compare.jobs.before_after import changes_since
        from compare.jobs.before_after import setup_of as set_up

        changes = changes_since(earlier, inspection.findings, set_up(inspection))
    write_files(inspection, annotate=annotate, report=report, table=table, replace=force)
    remember_bars(printer, bars, (shot.sighting.sheet.paper for shot in inspection.shots))
    show(inspection, as_json=as_json, full=full, budget=budget, changes=changes)
    ctx.exit(EXIT_CODES.get(inspection.verdict.value, OPEN))


def _said(ctx: click.Context, option: str) -> bool:
    """Return whether an option was given."""
    return ctx.get_parameter_source(option) is not click.core.ParameterSource.DEFAULT


def write_files(
    inspection: "Inspection",
    *,
    annotate: Path | None,
    report: Path | None,
    table: Path | None = None,
    replace: bool = False,
) -> None:
    """Write the files; first, so that a failure leaves no half answer on stdout."""
    if annotate is not None:
        from compare.tell.check.annotated_photo import write_annotated

        write_annotated(inspection, annotate, replace=replace)
    if report is not None:
        from compare.tell.check.check_page import write_report

        write_report(inspection, report, replace=replace)
    if table is not None:
        from compare.tell.check.check_csv import write_csv

        write_csv(inspection.findings, table, replace=replace)


def show(
    inspection: "Inspection",
    *,
    as_json: bool,
    full: bool = False,
    budget: bool = False,
    changes: "Changes | None" = None,
) -> None:
    """Print the answer."""
    from compare.tell.words.photos.change_words import change_sentences, changes_dict

    if as_json:
        from compare.tell.check.check_json import inspection_dict, to_text

        data = inspection_dict(inspection)
        if budget:
            from compare.tell.check.budget_table import budgets_dict

            data["budget"] = budgets_dict(inspection.budgets)
        if changes is not None:
            data["changes"] = changes_dict(changes, inspection.spec.units)
        click.echo(to_text(data))
        return
    from compare.tell.check.check_terminal import print_findings
    from compare.tell.words.photos.note_words import inspection_notes

    names = ", ".join(shot.photo.name for shot in inspection.shots)
    origin = f"{names} against {inspection.spec.source.name}"
    if inspection.spec.title:
        origin += f" ({inspection.spec.title})"
    print_findings(inspection.findings, sys.stdout, inspection_notes(inspection), origin, full=full)
    if (motion := inspection.motion) is not None:
        from compare.tell.motion_seen.motion_table import print_motion

        print_motion(motion, inspection.findings, sys.stdout)
    if changes is not None:
        for sentence in change_sentences(changes, inspection.spec.units):
            click.echo(sentence)
    if budget:
        from compare.tell.check.budget_table import print_budgets

        print_budgets(inspection.budgets, sys.stdout)
