"""The command line: parsing and printing only.

Exit codes: 0 conforms (or done), 3 does not conform, 4 too close to call, 2 bad input (one line on stderr),
1 an error inside the program.
Results go to stdout. The commands live in `compare.commands`; they import heavy modules only when they run,
so that help is instant.
"""

import errno
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, Final, NoReturn

import click

from capture.errors import FoldgaugeError
from capture.printable import printable
from compare.commands.camera import camera
from compare.commands.check import check
from compare.commands.demo import demo
from compare.commands.design import design
from compare.commands.desk import desk
from compare.commands.help import help_topic
from compare.commands.lot import lot
from compare.commands.measure import measure
from compare.commands.sheet import sheet
from compare.commands.unexpected import (
    INTERRUPTED,
    TERMINATED,
    Terminated,
    give_streams,
    let_go_of_stdout,
    line_of,
)

BAD_INPUT: Final = 2
BUG: Final = 1
LONGEST_LINE: Final = 1000  # characters; of names that are longer than any name, the middle is left out
WHOLE: Final = 400  # characters of a command's first sentence: none is cut off
CANNOT_PRINT: Final = (errno.ENOSPC, errno.EIO, errno.EBADF, errno.EFBIG, errno.EDQUOT)


class OneLineGroup(click.Group):
    """A group whose errors are one line on stderr and exit code 2, usage errors included."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands, each with its whole sentence."""
        commands = [(name, self.commands[name]) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl([(name, c.get_short_help_str(limit=WHOLE)) for name, c in commands])

    def main(self, args: Sequence[str] | None = None, *rest: Any, **options: Any) -> NoReturn:
        """Run, and turn what the user can mend into one line."""
        options["standalone_mode"] = False
        given = list(sys.argv[1:] if args is None else args)
        give_streams()
        try:
            with _ending_on_sigterm():
                code = super().main(args, *rest, **options)
            sys.stdout.flush()
            sys.exit(code if isinstance(code, int) else 0)
        except FoldgaugeError as err:
            from compare.tell.words.option_names import COMMAND_LINE

            _complain(err.told(COMMAND_LINE))
        except click.ClickException as err:
            ctx = getattr(err, "ctx", None)
            hint = f" (see {ctx.command_path} --help)" if ctx is not None else ""
            _complain(err.format_message() + hint)
        except click.Abort as err:
            if isinstance(err.__context__, Terminated):
                _complain("stopped: it was told to end", TERMINATED)
            sys.exit(INTERRUPTED)
        except BrokenPipeError:  # the reader of a pipe has gone: nobody is left to tell
            let_go_of_stdout()
            sys.exit(0)
        except Exception as err:
            if isinstance(err, OSError) and err.filename is None and err.errno in CANNOT_PRINT:
                let_go_of_stdout()
                _complain(f"the answer cannot be printed: {err.strerror}")
            _complain(line_of(err, given), BUG)


@contextmanager
def _ending_on_sigterm() -> Iterator[None]:
    """Turn the signal to end into an exception, so that workers end and half-written files go."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _terminate)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _terminate(number: int, frame: object) -> NoReturn:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # once is enough
    raise Terminated


def _complain(text: str, code: int = BAD_INPUT) -> NoReturn:
    line = " ".join(printable(text).split())
    if len(line) > LONGEST_LINE:
        line = f"{line[: LONGEST_LINE // 2]} ... {line[-LONGEST_LINE // 2 :]}"
    with suppress(OSError):  # standard error, too, may be closed or full
        click.echo(f"foldgauge: {line}", err=True)
    sys.exit(code)


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        from compare.version import own_version

        click.echo(f"foldgauge {own_version()}")
        ctx.exit()


@click.group(
    cls=OneLineGroup,
    invoke_without_command=True,
    epilog="To begin: foldgauge demo checks a sample; foldgauge help photo shows how to take a photo.",
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


for _command in (sheet, camera, check, measure, design, demo, lot, desk, help_topic):
    main.add_command(_command)


if __name__ == "__main__":
    main()
