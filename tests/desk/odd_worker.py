"""What runs in processes of their own in the tests of the desk; imports nothing that is slow to load."""

import os
import time
from typing import Any


def odd_worker(pipe: Any) -> None:
    """A worker that does what it is told: answers, dies, hangs, breaks, refuses."""
    while True:
        try:
            name, args = pipe.recv()
        except (EOFError, OSError):
            return
        if name == "die":
            os._exit(9)
        if name == "hang":
            time.sleep(60)
        pipe.send(
            {"break": ("failed", "KeyError"), "refuse": ("refused", "one line")}.get(name, ("done", *args))
        )


def slow_lot(*args: Any) -> None:
    """A lot that takes its time."""
    time.sleep(60)
