"""foldgauge demo: the main job on the sample photo that ships with foldgauge."""

from pathlib import Path

import click

from compare.commands.check import show, write_files
from compare.commands.set_up_options import Output, check_outputs


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def demo(as_json: bool) -> None:
    """Check the sample photo that ships with foldgauge.

    Its annotated photo and its report are written into this folder. Exit code 0 when done, whatever the
    verdict (the sample has a fault).
    """
    from compare.jobs.check_dummy import check as run
    from compare.jobs.demo_sample import demo_files
    from compare.tell.result_files import ANNOTATED, REPORT

    photo, spec = demo_files()
    out = Path(f"{photo.stem}.annotated.png")
    page = Path(f"{photo.stem}.report.html")
    check_outputs((Output("This folder", out, ANNOTATED), Output("This folder", page, REPORT)), (photo, spec))
    inspection = run(photo, spec)
    write_files(inspection, annotate=out, report=page)
    show(inspection, as_json=as_json)
    click.echo(f"All of this as a page to read or print: {page}", err=as_json)
    click.echo(f"The photo with the measurement drawn in: {out}", err=as_json)
