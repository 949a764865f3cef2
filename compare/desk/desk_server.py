"""The desk opened: a server on this machine until it is told to stop."""

import contextlib
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final

import uvicorn

from compare.desk.desk_app import desk_app
from compare.desk.gate.desk_gate import Pass
from compare.desk.gate.listening import listening
from compare.desk.project.project_folder import open_project
from compare.desk.work.worker_pool import WorkerPool

HERE: Final = "127.0.0.1"


def entry_for(port: int) -> Pass:
    """Return the pass of a desk on a port."""
    return Pass(hosts=frozenset({f"{HERE}:{port}", f"localhost:{port}"}), cookie=f"desk_{port}")


def serve_desk(folder: Path, port: int, *, browser: bool, tell: Callable[[str], None]) -> None:
    """Open the desk in a folder and serve it until it is stopped.

    Parameters
    ----------
    port : 0 = any that is free. browser : True opens the address. tell : is told the address.

    Raises
    ------
    DeskError : the folder or the port cannot be used.
    """
    project = open_project(folder)
    door = listening(port, HERE)
    number = int(door.getsockname()[1])
    entry = entry_for(number)
    app = desk_app(project, entry, WorkerPool())
    config = uvicorn.Config(
        app, log_level="error", access_log=False, server_header=False, date_header=False, lifespan="on"
    )
    address = f"http://{HERE}:{number}/?token={entry.token}"
    tell(address)
    if browser:
        with contextlib.suppress(webbrowser.Error):
            webbrowser.open(address)
    with contextlib.closing(door), contextlib.suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[door])
