"""What happens when a run ends as it should not: one line, and after an error a small file to send us."""

import os
import platform
import re
import sys
import tempfile
import traceback
from collections.abc import Sequence
from importlib import metadata
from typing import Final

LIBRARIES: Final = ("numpy", "scipy", "opencv-python", "Pillow", "click", "SQLAlchemy", "joblib")


class Terminated(KeyboardInterrupt):
    """The process was told to end (SIGTERM); whoever tidies up after Ctrl-C does so."""


INTERRUPTED: Final = 130  # the shell's own code for Ctrl-C
TERMINATED: Final = 143  # and for SIGTERM


def report_of(error: BaseException, args: Sequence[str]) -> str:
    """Return what we want to know about an error: where, in which versions, with which options.

    No value of an option, no name of a file of the user's and nothing of a photo is in it: of the command
    line only what begins with "-" and the command's name, of the error its kind and the lines of our code.
    """
    given = [m[0] for a in args if (m := re.match("-[^=]*", a))]
    command = next((a for a in args if not a.startswith("-") and a.isalpha()), "")
    lines = [
        f"foldgauge {_version('foldgauge')}, Python {platform.python_version()}, {platform.system()}",
        ", ".join(f"{name} {_version(name)}" for name in LIBRARIES),
        f"command: {command} {' '.join(given)}",
        f"error: {type(error).__name__}",
    ]
    for frame in traceback.extract_tb(error.__traceback__):
        place = frame.filename.replace("\\", "/").split("/")
        lines.append(f"  {'/'.join(place[-3:])}:{frame.lineno} {frame.name}: {frame.line or ''}")
    return "\n".join(lines) + "\n"


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "?"


def write_error_report(error: BaseException, args: Sequence[str]) -> str:
    """Write the report into the system's folder for temporary files; return its path, "" if it cannot be."""
    try:
        handle, path = tempfile.mkstemp(prefix="foldgauge-error-", suffix=".txt", text=True)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(report_of(error, args))
    except OSError:
        return ""
    return path


def line_of(error: BaseException, args: Sequence[str]) -> str:
    """Return the line for the user; the report is written on the way."""
    if isinstance(error, MemoryError):
        return "there is not enough memory for this; close other programs, or use a smaller photo"
    path = write_error_report(error, args)
    where = f"please send us {path} (it holds no photo and no names)" if path else "please tell us"
    return f"an error inside foldgauge ({type(error).__name__}), nothing was changed; {where}"


def give_streams() -> None:
    """Put nothing in the place of standard streams that are closed, so that printing does no harm."""
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "r" if name == "stdin" else "w", encoding="utf-8"))  # noqa: SIM115


def let_go_of_stdout() -> None:
    """Point standard output at nothing, so that what is still held back fails no more at the end."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    except OSError:
        sys.stdout = None
