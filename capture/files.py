"""Small files of the user's: written whole or not at all, read with one line on what is wrong."""

import os
import tempfile
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from capture.errors import FoldgaugeError


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


def read_toml(path: Path, error: type[FoldgaugeError], *, missing: str, foreign: str) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    error : what is raised. missing, foreign : what it says if there is no such file, or it is another kind.

    Raises
    ------
    error : the file cannot be read.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise error(missing) from None
    except OSError as err:
        raise error(f"cannot read {path}: {err.strerror}") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        raise error(foreign) from None
