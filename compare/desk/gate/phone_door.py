"""The phone's door: a second, upload-only application on the local network, alive while it is switched on.

It listens on this machine's address in the local network. The code on the screen holds its address with a
token that lets in one browser, once; whoever comes later is turned away. It takes photos for one dummy and
shows what came of them, nothing else.
"""

import asyncio
import contextlib
import secrets
import socket
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import segno
import uvicorn
from markupsafe import Markup
from starlette.types import ASGIApp

from compare.desk.desk_errors import DeskError
from compare.desk.gate.desk_gate import Pass
from compare.tell.draw import svg

OFF_AFTER_S: Final = 1800.0
GRACE_S: Final = 1
MOST_AT_ONCE: Final = 20  # connections; a phone opens about six
MOST_BYTES: Final = 300_000_000  # of one request
MOST_CHECKS: Final = 300  # of one code
SOMEWHERE: Final = ("192.0.2.1", 9)
"""An address of documentation (RFC 5737): nothing is sent, the system only says which way it would go."""

QUIET_ZONE: Final = 4  # modules around a code (ISO/IEC 18004)


class _Server(uvicorn.Server):
    """A server that leaves signals to the desk."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Do nothing: the desk ends us."""
        yield


def own_address() -> str:
    """Return this machine's address in the local network.

    Raises
    ------
    DeskError : it is in none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(SOMEWHERE)
            address = str(probe.getsockname()[0])
        except OSError:
            address = ""
    if not address or address == "0.0.0.0":
        raise DeskError("this computer is in no local network; join the one the phone is in")
    return address


def code_drawing(text: str) -> Markup:
    """Return a code for a phone's camera as SVG."""
    matrix = [bytes(row) for row in segno.make(text, error="m").matrix]
    side = len(matrix) + 2 * QUIET_ZONE
    path = "".join(
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h1v1h-1z"
        for y, row in enumerate(matrix)
        for x, dark in enumerate(row)
        if dark
    )
    return svg.element(
        "svg", svg.element("path", d=path), viewBox=f"0 0 {side} {side}", class_="qr", role="img",
        aria_label=text, shape_rendering="crispEdges",
    )  # fmt: skip


@dataclass(slots=True, eq=False)
class PhoneDoor:
    """An open door for a phone.

    Attributes
    ----------
    dummy : whose photos it takes. entry : what lets the phone in. port, host : where it listens.
    checks : names of the checks that came through it.
    """

    dummy: str
    host: str
    port: int
    entry: Pass
    checks: list[str] = field(default_factory=list)
    _server: _Server | None = None
    _task: "asyncio.Task[None] | None" = None
    _timer: asyncio.TimerHandle | None = None

    @property
    def address(self) -> str:
        """The address in the code."""
        return f"http://{self.host}:{self.port}/?token={self.entry.token}"

    def serve(self, app: ASGIApp, door: socket.socket) -> None:
        """Begin to listen."""
        config = uvicorn.Config(
            app, log_level="error", access_log=False, server_header=False, date_header=False, lifespan="off",
            timeout_graceful_shutdown=GRACE_S, limit_concurrency=MOST_AT_ONCE,
        )  # fmt: skip
        self._server = _Server(config)
        self._task = asyncio.create_task(self._server.serve(sockets=[door]))
        self._timer = asyncio.get_running_loop().call_later(OFF_AFTER_S, self.end)

    @property
    def is_open(self) -> bool:
        """Whether it still listens."""
        return self._task is not None and not self._task.done()

    def end(self) -> None:
        """Stop listening soon."""
        if self._server is not None:
            self._server.should_exit = True

    async def close(self) -> None:
        """Stop listening, and wait for it."""
        if self._timer is not None:
            self._timer.cancel()
        self.end()
        if self._task is not None:
            with contextlib.suppress(asyncio.CancelledError):
                await self._task


def pass_for_phone(host: str, port: int) -> Pass:
    """Return a pass that lets in one browser, once."""
    return Pass(
        hosts=frozenset({f"{host}:{port}"}),
        cookie=f"phone_{port}",
        token=secrets.token_urlsafe(12),  # short, so that the code stays coarse: 96 bits, used once
        once=True,
    )
