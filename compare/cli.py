"""The command line: parsing and printing only.

Exit codes: 0 conforms (or done), 3 does not conform, 4 too close to call, 2 bad input (one line on stderr).
Results go to stdout. The commands live in `compare.commands`; they import heavy modules only when they run,
so that help is instant.
"""

import os
import sys
from collections.abc import Sequence
from typing import Any, Final, NoReturn

import click

from capture.errors import FoldgaugeError
from compare.commands.camera import camera
from compare.commands.check import check
from compare.commands.demo import demo
from compare.commands.design import design
from compare.commands.help import help_topic
from compare.commands.lot import lot
from compare.commands.measure import measure
from compare.commands.sheet import sheet

BAD_INPUT: Final = 2
INTERRUPTED: Final = 130  # the shell's own code for Ctrl-C


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
            from compare.tell.words.option_names import error_line

            _complain(error_line(err))
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


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        from compare.version import own_version

        click.echo(f"foldgauge {own_version()}")
        ctx.exit()


@click.group(
    cls=OneLineGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Show the version."
)
@click.pass_context
def main(ctx: click.Context) -> None:
    """Measure a folded card dummy of a pop-up spread from a photo and check it against its design."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


for _command in (sheet, camera, check, measure, design, demo, lot, help_topic):
    main.add_command(_command)


if __name__ == "__main__":
    main()
