"""The command line: parsing and printing only.

Exit codes: 0 conforms (or done), 3 does not conform, 4 too close to call, 2 bad input (one line on stderr).
Results go to stdout. Heavy modules are imported inside the commands, so that help is instant.
"""

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NoReturn

import click

from capture.errors import FoldgaugeError

if TYPE_CHECKING:
    from compare.inspection import Inspection

CONFORMS: Final = 0
BAD_INPUT: Final = 2
FAILS: Final = 3
OPEN: Final = 4
INTERRUPTED: Final = 130  # the shell's own code for Ctrl-C

Use = Literal["auto", "arch", "backdrop"]


class OneLineGroup(click.Group):
    """A group whose errors are one line on stderr and exit code 2, usage errors included."""

    def main(self, args: Sequence[str] | None = None, *rest: Any, **options: Any) -> NoReturn:
        """Run, and turn what the user can mend into one line."""
        options["standalone_mode"] = False
        try:
            code = super().main(args, *rest, **options)
            sys.stdout.flush()
            sys.exit(code if isinstance(code, int) else 0)
        except FoldgaugeError as err:
            _complain(str(err))
        except click.ClickException as err:
            ctx = getattr(err, "ctx", None)
            hint = f" (see {ctx.command_path} --help)" if ctx is not None else ""
            _complain(err.format_message() + hint)
        except click.Abort:
            sys.exit(INTERRUPTED)
        except BrokenPipeError:  # the reader of a pipe has gone: nobody is left to tell
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            sys.exit(0)


def _complain(text: str) -> NoReturn:
    click.echo(f"foldgauge: {' '.join(text.split())}", err=True)
    sys.exit(BAD_INPUT)


def _bars(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[float, float] | None:
    """Parse "A,U": lengths of the check bars across and up, mm."""
    if value is None:
        return None
    try:
        across, up = (float(v) for v in value.split(","))
    except ValueError:
        raise click.BadParameter(
            f'two lengths in mm with a comma between are wanted, like "150.2,100.1", got {value!r}'
        ) from None
    return across, up


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        from compare.version import own_version

        click.echo(f"foldgauge {own_version()}")
        ctx.exit()


@click.group(
    cls=OneLineGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Show the version."
)
def main() -> None:
    """Measure a folded card dummy of a pop-up spread from a photo and check it against its design."""


@main.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("sheet.pdf"), show_default=True)
@click.option(
    "--paper", type=click.Choice(["a4", "a3", "letter", "tabloid"]), default="a4", show_default=True
)
@click.option(
    "--dark-field/--no-dark-field",
    default=True,
    show_default=True,
    help="Fill the window nearly black (backdrop use wants it).",
)
def sheet(output: Path, paper: str, dark_field: bool) -> None:
    """Write the marker sheet to print at 100 %."""
    from capture.sheet_pdf import write_sheet

    write_sheet(output, paper, dark_field)
    click.echo(f"{output}: print it at 100 % (actual size) and measure the two check bars with a steel rule.")


@main.command()
@click.argument("photo", type=click.Path(path_type=Path))
@click.option("--spec", required=True, type=click.Path(path_type=Path), help="The design (TOML).")
@click.option(
    "--use",
    type=click.Choice(["auto", "arch", "backdrop"]),
    default="auto",
    show_default=True,
    help="arch: cut sheet flush with the near end; backdrop: uncut sheet behind the dummy.",
)
@click.option(
    "--standoff", type=float, help="Backdrop: mm from the sheet to the near end (default: the spec's depth)."
)
@click.option(
    "--bars", callback=_bars, metavar="A,U", help="The two check bars as measured, across and up, mm."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
@click.option(
    "--annotate", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the photo, drawn on."
)
@click.pass_context
def check(
    ctx: click.Context,
    photo: Path,
    spec: Path,
    use: Use,
    standoff: float | None,
    bars: tuple[float, float] | None,
    as_json: bool,
    annotate: Path | None,
) -> None:
    """Check a PHOTO of a dummy against its design.

    Exit code 0: conforms, 3: does not conform, 4: too close to call, 2: it could not be done.
    """
    _check_options(standoff, annotate)
    from compare.inspection import check as run

    inspection = run(photo, spec, use=use, standoff_mm=standoff, bars_mm=bars)
    _show(inspection, as_json=as_json, annotate=annotate)
    ctx.exit({"conforms": CONFORMS, "does not conform": FAILS}.get(inspection.verdict.value, OPEN))


def _check_options(standoff: float | None, annotate: Path | None) -> None:
    """Refuse what cannot work before the photo is read."""
    if standoff is not None and not 0 <= standoff <= 1000:
        raise FoldgaugeError(f"--standoff: 0 to 1000 mm is wanted, got {standoff:g}")
    if annotate is not None and annotate.suffix.lower() != ".png":
        raise FoldgaugeError(f"--annotate: a name that ends in .png is wanted, got {annotate.name!r}")
    if annotate is not None and not annotate.absolute().parent.is_dir():
        raise FoldgaugeError(f"--annotate: the folder {annotate.parent} does not exist")


def _show(inspection: "Inspection", *, as_json: bool, annotate: Path | None) -> None:
    """Write the picture first, so that a failure leaves no half answer on stdout."""
    if annotate is not None:
        from compare.report.annotate import write_annotated

        write_annotated(inspection, annotate)
    if as_json:
        from compare.report.as_json import to_text

        click.echo(to_text(inspection.as_dict()))
        return
    from compare.report.terminal import print_findings

    origin = f"{inspection.photo.name} against {inspection.spec.source.name}"
    if inspection.spec.title:
        origin += f" ({inspection.spec.title})"
    print_findings(inspection.findings, sys.stdout, inspection.notes, origin)


@main.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of tables.")
def demo(as_json: bool) -> None:
    """Check the sample photo that ships with foldgauge.

    Its annotated photo is written into this folder. Exit code 0 when done, whatever the verdict (the sample
    has a fault).
    """
    from compare.demo import demo_files
    from compare.inspection import check as run

    photo, spec = demo_files()
    out = Path(f"{photo.stem}.annotated.png")
    _show(run(photo, spec), as_json=as_json, annotate=out)
    click.echo(f"The photo with the measurement drawn in: {out}", err=as_json)


@main.command()
@click.argument("spec", type=click.Path(path_type=Path))
def design(spec: Path) -> None:
    """Check a design SPEC before cutting.

    Its equalities and sums, how it moves, and how far it reaches when shut.
    """
    from compare.design.spec import load_spec
    from compare.report.design_text import print_design

    print_design(load_spec(spec), sys.stdout)


if __name__ == "__main__":
    main()
