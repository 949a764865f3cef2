"""A worker process: takes one job after the other from a pipe, within its memory, and answers.

Photos that came from a network are decoded here and nowhere else. What goes wrong inside ends at most this
process; whoever asked is told.
"""

import gc
import importlib
import signal
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, Final

from capture.errors import FoldgaugeError
from compare.desk.words.desk_option_names import desk_line

MODULE: Final = "compare.desk.work.photo_work"
MOST_MEMORY: Final = 6 << 30
"""Bytes of address space a worker may take: twice what a photo of 108 megapixels needs."""

Reply = tuple[str, Any]
"""("done", result), ("refused", one line) or ("failed", kind of error)."""


def serve(pipe: Connection, most_memory: int = MOST_MEMORY) -> None:
    """Work until the pipe is closed at its other end."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one who started us ends us
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _limit(most_memory)
    work = importlib.import_module(MODULE)
    while True:
        try:
            name, args = pipe.recv()
        except (EOFError, OSError):
            return
        reply = _answer(getattr(work, name), args)
        gc.collect()
        with suppress(OSError):
            pipe.send(reply)


def _answer(function: Any, args: tuple[Any, ...]) -> Reply:
    try:
        return "done", function(*args)
    except FoldgaugeError as err:
        return "refused", desk_line(err)
    except MemoryError:
        return "failed", "MemoryError"
    except Exception as err:  # whatever it is, the next job is not to suffer
        return "failed", type(err).__name__


def _limit(most_memory: int) -> None:
    try:
        import resource
    except ImportError:  # no such limits on this system; time is limited all the same
        return
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_AS, (most_memory, most_memory))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
