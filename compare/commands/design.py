"""foldgauge design: check a design before cutting."""

import sys
from pathlib import Path
from typing import Any, Final

import click

from compare.commands.set_up_options import Output, check_outputs, force_option

FAULTS: Final = 3  # exit code of a design with something wrong, as of a dummy that does not conform
WAYS: Final = {"hand": 0.3, "die": 0.1}  # mm, scored and cut; common practice, no source


def _scatter(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """Parse "hand", "die" or a standard deviation in mm."""
    if value is None:
        return None
    if value in WAYS:
        return WAYS[value]
    try:
        sd = float(value)
    except ValueError:
        sd = -1.0
    if not 0 < sd <= 10:
        raise click.BadParameter(f'"hand", "die" or a standard deviation in mm is wanted, got {value!r}')
    return sd


def _file(help_text: str) -> Any:
    return {"type": click.Path(path_type=Path, dir_okay=False), "metavar": "FILE", "help": help_text}


@click.command()
@click.argument("spec", required=False, type=click.Path(path_type=Path))
@click.option("--picture", **_file("Write its movement as one picture (.svg or .png)."))
@click.option("--motion", **_file("Write it opening and shutting (.gif, or .html with a slider)."))
@click.option("--template", **_file("Write strips and glue marks at true size, to print and cut (.pdf)."))
@click.option(
    "--tolerance",
    callback=_scatter,
    metavar="hand|die|MM",
    help="Also how it scatters, cut by hand (0.3 mm), by die (0.1 mm), or with this standard deviation.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of tables.")
@click.option("--tidy", is_flag=True, help="Print the spec anew, in the usual order, and nothing else.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of a spec, for editors.")
@force_option
def design(
    spec: Path | None,
    picture: Path | None,
    motion: Path | None,
    template: Path | None,
    tolerance: float | None,
    as_json: bool,
    tidy: bool,
    schema: bool,
    force: bool,
) -> None:
    """Check a design SPEC before cutting.

    Its equalities and sums, how it moves, and how far it reaches when shut. Exits 3 if something is wrong.
    """
    if schema:
        from compare.design.constructions.registry import FORMS
        from compare.design.spec.spec_schema import schema_text

        click.echo(schema_text(FORMS))
        return
    if spec is None:
        raise click.UsageError("Missing argument 'SPEC'.")
    from compare.tell.result_files import MOTION, PICTURE, TEMPLATE

    check_outputs(  # before anything is computed or written
        (
            Output("--picture", picture, PICTURE),
            Output("--motion", motion, MOTION),
            Output("--template", template, TEMPLATE),
        ),
        [spec],
        replace=force,
    )
    from compare.design.load_spec import load_spec

    loaded = load_spec(spec)
    if tidy:
        from compare.design.constructions.registry import FORMS
        from compare.design.spec.tidy import tidy_text

        click.echo(tidy_text(spec, FORMS), nl=False)
        return
    import numpy as np

    from compare.design.study.concerns import concerns
    from compare.design.study.motion import move
    from compare.design.study.tolerance import study
    from compare.tell.design.design_json import design_as_dict, to_json
    from compare.tell.design.design_motion import write_motion
    from compare.tell.design.design_picture import sweep_sketch, write_picture
    from compare.tell.design.design_text import print_design, print_study
    from compare.tell.design.template_pdf import write_template

    moved = move(loaded)
    found = None if tolerance is None else study(loaded, tolerance, np.random.default_rng(1))
    # Files first, so that a failure leaves no half answer on stdout.
    if picture is not None:
        write_picture(picture, sweep_sketch(loaded, moved, found), replace=force)
    if motion is not None:
        write_motion(motion, loaded, moved, replace=force)
    if template is not None:
        write_template(template, loaded, replace=force)
    if as_json:
        click.echo(to_json(design_as_dict(loaded, moved, found)))
    else:
        print_design(loaded, sys.stdout, moved, found)
        if found is not None:
            click.echo()
            print_study(loaded, found, sys.stdout)
    for path in (picture, motion, template):
        if path is not None:
            click.echo(f"Written: {path}", err=True)
    if concerns(loaded, moved):
        sys.exit(FAULTS)
