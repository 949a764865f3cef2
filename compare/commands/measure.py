"""foldgauge measure: lengths and angles of a dummy without a spec."""

import sys
from pathlib import Path

import click

from compare.commands.set_up_options import (
    Output,
    Use,
    check_outputs,
    check_range,
    force_option,
    points_option,
    remember_bars,
    set_up_options,
    setup_of,
    use_option,
)


@click.command()
@click.argument("photo", type=click.Path(path_type=Path))
@use_option
@click.option("--standoff", type=float, help="Backdrop: mm from the sheet to the near end.")
@click.option(
    "--card", type=float, default=0.3, show_default=True, help="Thickness of the card, mm (strips and base)."
)
@click.option(
    "--depth", type=float, default=60.0, show_default=True, help="Length of the strips along the spine, mm."
)
@set_up_options
@points_option
@click.option("--budget", is_flag=True, help="Also the uncertainty budget of every length.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@click.option(
    "--annotate", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the photo, drawn on."
)
@click.option(
    "--csv", "table", type=click.Path(path_type=Path), metavar="OUT.csv", help="Write a table of the figures."
)
@click.option(
    "--draft", type=click.Path(path_type=Path), metavar="SPEC.toml", help="Write a starter spec to put right."
)
@force_option
def measure(
    photo: Path,
    use: Use,
    standoff: float | None,
    card: float,
    depth: float,
    bars: tuple[float, ...] | None,
    printer: Path | None,
    camera: Path | None,
    points: Path | None,
    budget: bool,
    as_json: bool,
    annotate: Path | None,
    table: Path | None,
    draft: Path | None,
    force: bool,
) -> None:
    """Measure the dummy in a PHOTO without a spec: what it shows, how long, at which angle.

    Nothing is judged: there is no design to compare with. --draft writes one to start from.
    """
    check_range("--card", card, 0.02, 10.0)
    check_range("--depth", depth, 0.5, 1000.0)
    from compare.tell.result_files import DRAFT, TRACED, TRACED_TABLE

    check_outputs(
        (
            Output("--annotate", annotate, TRACED),
            Output("--csv", table, TRACED_TABLE),
            Output("--draft", draft, DRAFT),
        ),
        (photo, points, camera, printer),
        replace=force,
    )
    from compare.jobs.measure_dummy import measure as run
    from measure.joints.by_hand import read_points
    from measure.layout import Card

    tracing = run(
        photo,
        setup_of(use, standoff, bars, printer, camera),
        points=() if points is None else read_points(points),
        card=Card(card_mm=card, base_mm=card, depth_mm=depth),
    )
    # Files first, so that a failure leaves no half answer on stdout.
    if annotate is not None:
        from compare.tell.trace.trace_picture import write_traced_picture

        write_traced_picture(tracing, annotate, replace=force)
    if table is not None:
        from compare.tell.trace.trace_text import write_tracing_csv

        write_tracing_csv(tracing, table, replace=force)
    if draft is not None:
        from compare.tell.trace.starter_spec import write_draft

        write_draft(tracing, draft, replace=force)
    remember_bars(printer, bars, [tracing.sighting.sheet.paper])
    if as_json:
        from compare.tell.check.check_json import to_text
        from compare.tell.trace.trace_json import tracing_dict

        data = tracing_dict(tracing)
        if budget:
            from compare.tell.check.budget_table import budgets_dict

            data["budget"] = budgets_dict(tracing.budgets)
        click.echo(to_text(data))
        return
    from compare.tell.trace.trace_text import print_tracing

    print_tracing(tracing, sys.stdout, budget=budget)
