"""Writing a result file: whole or not at all."""

from collections.abc import Callable
from pathlib import Path

from capture import files
from compare.compare_errors import OutputError


def write_whole(path: Path, make: Callable[[Path], object]) -> None:
    """Let `make` write a temporary file beside `path`, then put it in its place in one step.

    Raises
    ------
    OutputError : the file cannot be written; nothing is left behind.
    """
    files.write_whole(path, make, OutputError)
