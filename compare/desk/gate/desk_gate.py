"""The gate in front of every page of the desk.

The desk listens on this machine only; yet any page in any browser here can send requests to it, and any name
can be made to point to 127.0.0.1. So: the host must be ours, whoever comes in must have the token that was
printed (once in the address, then as a cookie that other sites' pages do not carry along), what changes
something must come from a page of ours and carry its form token, and no request may be larger than is usual.
"""

import secrets
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Final
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "img-src 'self' data:",
        "style-src 'self'",
        "script-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content Security Policy Level 3 (W3C): nothing inline, nothing from elsewhere."""

MOST_BYTES: Final = 1_000_000_000
"""Of one request: twelve photos of the largest phones."""

CHANGING: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})
STRANGER: Final = "Please open the desk with the address that 'foldgauge desk' printed."


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """What lets somebody in.

    Attributes
    ----------
    hosts : values of the Host header that are ours. cookie : its name, one per port: cookies know no ports.
    token : in the address. once : True if it lets in one browser and no second one.
    session : what the cookie holds. form : token that every form carries.
    """

    hosts: frozenset[str]
    cookie: str
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    form: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    once: bool = False


class DeskGate:
    """ASGI middleware: see the module."""

    def __init__(self, app: ASGIApp, entry: Pass, most_bytes: int = MOST_BYTES) -> None:
        self._app, self._pass, self._most = app, entry, most_bytes
        self._spent = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        refused = self._refused(request)
        guarded = _with_headers(send)
        if refused is not None:
            await refused(scope, receive, guarded)
            return
        scope["form_token"] = self._pass.form
        await self._app(scope, _bounded(receive, self._most), guarded)

    def _refused(self, request: Request) -> Response | None:
        """Return the answer to a request that may not come in; None for one that may."""
        headers = request.headers
        host = headers.get("host", "")
        if host not in self._pass.hosts:
            return PlainTextResponse("This is not the desk's address.", HTTPStatus.MISDIRECTED_REQUEST)
        given = parse_qs(request.url.query).get("token", [""])[0]
        known = given and secrets.compare_digest(given.encode(), self._pass.token.encode())
        if known and request.method == "GET" and not self._spent:
            self._spent = self._pass.once
            answer = RedirectResponse(request.url.path, HTTPStatus.SEE_OTHER)
            answer.set_cookie(self._pass.cookie, self._pass.session, httponly=True, samesite="strict")
            return answer
        carried = request.cookies.get(self._pass.cookie, "")
        if not secrets.compare_digest(carried.encode(), self._pass.session.encode()):
            return PlainTextResponse(STRANGER, HTTPStatus.FORBIDDEN)
        if known and request.method == "GET":  # the code again, in the browser that was let in
            return RedirectResponse(request.url.path, HTTPStatus.SEE_OTHER)
        if request.method in CHANGING:
            if headers.get("origin", "") != f"http://{host}":
                return PlainTextResponse("This came from another page.", HTTPStatus.FORBIDDEN)
            if _announced(headers) > self._most:
                return PlainTextResponse("This is too much at once.", HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        return None


def _announced(headers: Headers) -> int:
    length = headers.get("content-length", "")
    return int(length) if length.isdecimal() and len(length) < 16 else 0


def _bounded(receive: Receive, most: int) -> Receive:
    """Return a `receive` that counts what comes, whatever was announced."""
    seen = 0

    async def counting() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "This is too much at once.")
        return message

    return counting


def _with_headers(send: Send) -> Send:
    """Return a `send` that puts our policy on every answer which has none of its own."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("content-security-policy", POLICY)
            headers.setdefault("cache-control", "no-store")
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "same-origin"
            headers["cross-origin-opener-policy"] = "same-origin"
            headers["cross-origin-resource-policy"] = "same-origin"
        await send(message)

    return sending
