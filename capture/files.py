"""Small files of the user's: written whole or not at all, read with one line on what is wrong."""

import errno
import os
import stat
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from capture.errors import FoldgaugeError, Option

MOST_TOML_BYTES: Final = 1_000_000
"""A camera file has about fifty lines, a spec about thirty."""


@dataclass(frozen=True, slots=True)
class FileBytes:
    """A file's content and what it is called, for a file that lies on no disk of this machine."""

    name: str
    data: bytes


def read_whole(path: Path, most_bytes: int) -> bytes:
    """Read a regular file; a pipe or a device is refused at once, and nothing is read beyond the bound.

    Raises
    ------
    OSError : with a `strerror` for a reader; `FileNotFoundError` and `IsADirectoryError` are kept apart.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = os.fstat(handle).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if not stat.S_ISREG(kind):
            raise OSError(errno.EINVAL, "it is a pipe or a device, not a file")
        with open(handle, "rb", closefd=False) as file:
            data = file.read(most_bytes + 1)
    finally:
        os.close(handle)
    if len(data) > most_bytes:
        raise OSError(errno.EFBIG, f"it is larger than {most_bytes / 1e6:g} MB; is it the right file?")
    return data


def write_whole(path: Path, make: Callable[[Path], object], error: type[FoldgaugeError]) -> None:
    """Let `make` write a temporary file beside `path`, then put it in its place in one step.

    Raises
    ------
    error : the file cannot be written; nothing is left behind.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}.", suffix=path.suffix)
    except OSError as err:
        raise error(f"cannot write {path}: {err.strerror}; choose another folder or name") from None
    os.close(handle)
    temporary = Path(name)
    try:
        make(temporary)
        temporary.chmod(0o644)
        os.replace(temporary, path)
    except OSError as err:
        raise error(f"cannot write {path}: {err.strerror}; choose another folder or name") from None
    finally:
        temporary.unlink(missing_ok=True)


Line = tuple[str | Option, ...]
"""A line for the user in pieces, as `FoldgaugeError` takes it."""


def read_toml(
    path: Path, error: type[FoldgaugeError], *, missing: Line, foreign: Line
) -> tuple[dict[str, Any], bytes]:
    """Read a TOML file.

    Parameters
    ----------
    error : what is raised. missing, foreign : what it says if there is no such file, or it is another kind.

    Returns
    -------
    its tables, and its bytes.

    Raises
    ------
    error : the file cannot be read.
    """
    try:
        data = read_whole(path, MOST_TOML_BYTES)
        return tomllib.loads(data.decode("utf-8")), data
    except FileNotFoundError:
        raise error(*missing) from None
    except OSError as err:
        raise error(f"cannot read {path}: {err.strerror}") from None
    except (ValueError, RecursionError):  # no UTF-8, no TOML, a number of thousands of digits, keys too deep
        raise error(*foreign) from None
