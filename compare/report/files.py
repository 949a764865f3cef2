"""Writing a result file: whole or not at all."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from compare.errors import OutputError


def write_whole(path: Path, make: Callable[[Path], object]) -> None:
    """Let `make` write a temporary file beside `path`, then put it in its place in one step.

    Raises
    ------
    OutputError : the file cannot be written; nothing is left behind.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}.", suffix=path.suffix)
    except OSError as err:
        raise OutputError(f"cannot write {path}: {err.strerror}; choose another folder or name") from None
    os.close(handle)
    temporary = Path(name)
    try:
        make(temporary)
        temporary.chmod(0o644)
        os.replace(temporary, path)
    except OSError as err:
        raise OutputError(f"cannot write {path}: {err.strerror}; choose another folder or name") from None
    finally:
        temporary.unlink(missing_ok=True)
