"""The one door for files: read if they are files and no larger than makes sense, written whole or not at all.

Nothing of the user's is replaced unasked: only a file that this program wrote before, as the same kind, gives
way. It is known again by a mark inside it (`FileKind.mark`).
"""

import errno
import os
import secrets
import stat
import time
import tomllib
from collections.abc import Callable
from contextlib import suppress
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


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file that this program writes.

    Attributes
    ----------
    what : what it is called, with its article.
    suffixes : endings of its name, lower case.
    mark : bytes that stand near the beginning or the end of every one of them, and in no file of another
        kind: so one that was written before is known again. None: it is meant to be worked on, or holds no
        mark, and is never replaced unasked.
    """

    what: str
    suffixes: tuple[str, ...]
    mark: bytes | None = None


MARK_BYTES: Final = 65_536
"""How far from a file's beginning and end its mark is looked for."""

PART: Final = ".foldgauge-part-"
"""How the names of unfinished files begin; then the number of the process that writes it."""

OLD_PART_S: Final = 86_400.0
"""An unfinished file is nobody's after a day, whatever machine of a shared disk began it."""


def is_ours(path: Path, kind: FileKind) -> bool:
    """Return whether a file was written by this program as that kind: its mark is in it."""
    if kind.mark is None:
        return False
    try:
        if not os.path.isfile(path):
            return False
        with path.open("rb") as file:
            head = file.read(MARK_BYTES)
            file.seek(max(path.stat().st_size - MARK_BYTES, 0))
            return kind.mark in head or kind.mark in file.read(MARK_BYTES)
    except OSError:
        return False


def require_replaceable(path: Path, kind: FileKind, error: type[FoldgaugeError]) -> None:
    """Refuse a place where something stands that this program did not write as that kind.

    Raises
    ------
    error : one line.
    """
    if os.path.lexists(path) and not os.path.isdir(path) and not is_ours(path, kind):
        why = (
            "is there already and is meant to be worked on"
            if kind.mark is None
            else f"is there already and is not {kind.what} that foldgauge wrote"
        )
        raise error(f"{path} {why}; choose another name, or say ", Option.FORCE, " to replace it")


def write_whole(
    path: Path,
    make: Callable[[Path], object],
    error: type[FoldgaugeError],
    kind: FileKind,
    *,
    replace: bool = False,
) -> None:
    """Let `make` write a temporary file beside `path`, then put it in its place in one step.

    Parameters
    ----------
    kind : of file; only one of the same kind that this program wrote gives way.
    replace : True to replace whatever stands there, as the user asked for.

    Raises
    ------
    error : the file cannot be written, or another one stands there; nothing is left behind.
    """
    if not replace:
        require_replaceable(path, kind, error)
    target = Path(os.path.realpath(path)) if os.path.islink(path) else path  # the link stays one
    sweep(target.parent)
    # Opened anew and not by tempfile: so its permissions are those of any file the user makes (umask).
    temporary = target.parent / f"{PART}{os.getpid()}-{secrets.token_hex(4)}{path.suffix}"
    try:
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        make(temporary)
        with temporary.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(temporary, target)
    except OSError as err:
        why = err.strerror or str(err)
        raise error(f"cannot write {path}: {why}; choose another folder or name") from None
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove unfinished files that a killed run left in a folder."""
    with suppress(OSError):
        for path in folder.glob(f"{PART}*"):
            number = path.name.removeprefix(PART).partition("-")[0]
            old = time.time() - path.stat().st_mtime > OLD_PART_S
            if old or (number.isdigit() and not _runs(int(number))):
                path.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    """Return whether a process of this machine is alive (or may be: not ours to ask)."""
    if os.name != "posix":  # there, asking a process would end it
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


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
