"""The phone beside the desk: switching its page on and off, and the page itself."""

from http import HTTPStatus

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from capture.errors import FoldgaugeError
from compare.desk.desk_errors import DeskError
from compare.desk.gate.desk_gate import DeskGate
from compare.desk.gate.form_intake import form_of
from compare.desk.gate.listening import listening
from compare.desk.gate.phone_door import (
    MOST_BYTES,
    MOST_CHECKS,
    PhoneDoor,
    code_drawing,
    own_address,
    pass_for_phone,
)
from compare.desk.project.check_folder import CheckFolder
from compare.desk.screens.bench_screen import line_of
from compare.desk.screens.check_screen import answer_values
from compare.desk.screens.desk_pages import STATIC, Desk, desk_of, go, page, words_of
from compare.desk.screens.dummy_screen import bring
from compare.desk.words.advice_text import photo_advice
from compare.desk.words.desk_option_names import desk_line


async def phone(request: Request) -> Response:
    """Show whether the phone's page is on, and its code."""
    return _shown(request)


def _shown(request: Request, trouble: str = "") -> Response:
    desk = desk_of(request)
    door = desk.phone if desk.phone is not None and desk.phone.is_open else None
    there = desk.project.dummy(door.dummy) if door else None
    checks = [c for name in door.checks if (c := there.check(name))] if door and there else []
    return page(
        request,
        "phone.html.jinja",
        HTTPStatus.UNPROCESSABLE_ENTITY if trouble else HTTPStatus.OK,
        place="phone",
        trouble=trouble,
        dummies=[d.name for d in desk.project.dummies()],
        chosen=request.query_params.get("dummy", ""),
        door=door,
        code=code_drawing(door.address) if door else "",
        came=[line_of(c) for c in reversed(checks)],
        counted=_counted(checks),
    )


def _counted(checks: list[CheckFolder]) -> int:
    """Return a number that changes when a photo came or was measured."""
    return sum(1 + (c.state != "waiting") for c in checks)


async def phone_state(request: Request) -> Response:
    """Tell what came, for the page that shows the code."""
    desk = desk_of(request)
    door = desk.phone
    there = desk.project.dummy(door.dummy) if door else None
    checks = [c for name in door.checks if (c := there.check(name))] if door and there else []
    is_open = door is not None and door.is_open
    return JSONResponse({"state": "waiting" if is_open else "off", "advised": _counted(checks)})


async def switch_on(request: Request) -> Response:
    """Switch the phone's page on for a dummy; a new code each time."""
    desk = desk_of(request)
    async with form_of(request) as form:
        there = desk.project.dummy(form.text("dummy"))
    if there is None:
        return _shown(request, words_of(request)("phone.no_dummy"))
    if desk.phone is not None:
        await desk.phone.close()
        desk.phone = None
    try:
        desk.phone = open_door(desk, there.name)
    except FoldgaugeError as err:
        return _shown(request, desk_line(err))
    return go("/phone")


def open_door(desk: Desk, dummy: str) -> PhoneDoor:
    """Open a door for a dummy's photos.

    Raises
    ------
    DeskError : this machine is in no network, or nothing can listen there.
    """
    host = own_address()
    socket = listening(0, host)
    port = int(socket.getsockname()[1])
    door = PhoneDoor(dummy, host, port, pass_for_phone(host, port))
    door.serve(phone_app(desk, door), socket)
    return door


async def switch_off(request: Request) -> Response:
    """Switch the phone's page off."""
    desk = desk_of(request)
    async with form_of(request):
        if desk.phone is not None:
            await desk.phone.close()
            desk.phone = None
    return go("/phone")


def phone_app(desk: Desk, door: PhoneDoor) -> ASGIApp:
    """Return the phone's page, its gate in front."""
    app = Starlette(
        routes=[
            Route("/", _take, methods=["GET"]),
            Route("/photos", _photos, methods=["POST"]),
            Route("/{check}", _answer, methods=["GET"]),
            Route("/{check}/state", _state, methods=["GET"]),
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        exception_handlers={HTTPException: _lost},
    )
    app.state.desk, app.state.door = desk, door
    return DeskGate(app, door.entry, MOST_BYTES)


async def _lost(request: Request, err: Exception) -> Response:
    assert isinstance(err, HTTPException)
    return page(request, "phone_take.html.jinja", err.status_code, trouble=words_of(request)("lost.title"))


async def _take(request: Request) -> Response:
    """Show the one button."""
    return page(request, "phone_take.html.jinja", trouble="")


async def _photos(request: Request) -> Response:
    """Take a photo."""
    desk, door = desk_of(request), request.app.state.door
    words = words_of(request)
    as_data = "application/json" in request.headers.get("accept", "")
    try:
        async with form_of(request) as form:
            there = desk.project.dummy(door.dummy)
            if there is None:
                raise DeskError(words("lost.page"))
            if len(door.checks) >= MOST_CHECKS:
                raise DeskError(words("phone.enough"))
            check = await bring(desk, there, form, words, by="phone")
    except FoldgaugeError as err:
        if as_data:
            return JSONResponse({"line": desk_line(err)}, HTTPStatus.UNPROCESSABLE_ENTITY)
        return page(request, "phone_take.html.jinja", trouble=desk_line(err))
    door.checks.append(check.name)
    return JSONResponse({"go": f"/{check.name}"}) if as_data else go(f"/{check.name}")


def _check(request: Request) -> CheckFolder:
    """Return a check that came through this door; no other is shown."""
    desk, door = desk_of(request), request.app.state.door
    name = request.path_params["check"]
    there = desk.project.dummy(door.dummy)
    check = there.check(name) if there is not None and name in door.checks else None
    if check is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return check


async def _answer(request: Request) -> Response:
    """Show the advice, then the answer."""
    check, words = _check(request), words_of(request)
    advice, told = check.advice(), check.answer()
    values = answer_values(told) if told is not None else {}
    return page(
        request,
        "phone_answer.html.jinja",
        check=check,
        photos=[photo_advice(p, words) for p in advice["photos"]] if advice else [],
        waiting=check.state == "waiting",
        refusal=check.refusal(),
        answered=told is not None,
        **values,
    )


async def _state(request: Request) -> Response:
    check = _check(request)
    advice = check.advice()
    return JSONResponse({"state": check.state, "advised": len(advice["photos"]) if advice else 0})
