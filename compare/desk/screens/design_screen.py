"""A new dummy, or its design changed: constructions by drawing, a form, a live drawing, the file itself."""

import asyncio
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from importlib import resources
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from capture.errors import FoldgaugeError
from capture.files import FileBytes
from compare.design.load_spec import load_spec
from compare.desk.desk_errors import DeskError
from compare.desk.drawings.dummy_drawing import DummyDrawing, dummy_drawing
from compare.desk.gate.form_intake import Form, form_of, photos_of
from compare.desk.project.spec_editing import (
    Field,
    fields_of,
    in_inches,
    tables_of,
    typed_values,
    with_values,
)
from compare.desk.screens.design_look import Look, look_at
from compare.desk.screens.desk_pages import (
    desk_of,
    download,
    dummy_of,
    environment,
    go,
    page,
    remembered_of,
    words_of,
)
from compare.desk.words.desk_option_names import desk_line
from compare.desk.work.worker_pool import WorkFailed

STARTS: Final = (
    "two-legs",
    "one-leg",
    "support",
    "many-legs",
    "two-stages",
    "flaps",
    "v-fold",
    "pillar",
)
"""Constructions to begin with: a spec each in `starts`, a name each in the catalogue ("start.NAME")."""

USUAL: Final = frozenset({"base", "card", "tolerance"})
"""Tables every spec has; they stand last in the form, but for the page."""

FIRST: Final = frozenset({("", "title"), ("base", "page"), ("base", "depth"), ("base", "opening")})


@dataclass(frozen=True, slots=True)
class Group:
    """Fields of one table."""

    table: str
    meaning: str
    fields: tuple[Field, ...]


@cache
def start_text(name: str) -> str:
    """Return the spec of a start, in mm."""
    return resources.files("compare.desk.starts").joinpath(f"{name}.toml").read_text(encoding="utf-8")


@cache
def _start_drawing(name: str) -> DummyDrawing:
    spec = load_spec(FileBytes(f"{name}.toml", start_text(name).encode()))
    return dummy_drawing(spec, figures=False)


async def new(request: Request) -> Response:
    """Show the constructions."""
    return _constructions(request)


def _constructions(request: Request, trouble: str = "") -> Response:
    status = HTTPStatus.UNPROCESSABLE_ENTITY if trouble else HTTPStatus.OK
    starts = [(name, _start_drawing(name)) for name in STARTS]
    return page(request, "new.html.jinja", status, place="new", starts=starts, trouble=trouble)


async def new_of(request: Request) -> Response:
    """Show the form of a construction; with POST, look again or put it on the bench."""
    name = request.path_params["start"]
    if name not in STARTS:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    text = start_text(name)
    if remembered_of(desk_of(request)).units == "in":
        text = in_inches(text)
    return await _form(request, text, f"/new/{name}", name)


async def change(request: Request) -> Response:
    """Show the design of a dummy as a form; with POST, look again or save."""
    dummy = dummy_of(request)
    text = dummy.spec.read_text(encoding="utf-8", errors="replace")
    return await _form(request, text, f"/dummies/{dummy.name}/spec", "")


async def _form(request: Request, text: str, action: str, start: str) -> Response:
    if request.method == "GET":
        return await _shown(request, text, action, start)
    async with form_of(request) as form:
        text, trouble = _typed(form)
        pressed = form.text("do")
    look = await asyncio.to_thread(look_at, text)
    if pressed != "save" or trouble or look.slip:
        return await _shown(request, text, action, start, trouble, look, pressed == "save")
    title = str(tables_of(text).get("title", "")).strip()
    if start:
        made = desk_of(request).project.add_dummy(title or start, text)
        return go(f"/dummies/{made.name}")
    dummy = dummy_of(request)
    dummy.save_spec(text)
    return go(f"/dummies/{dummy.name}")


def _typed(form: Form) -> tuple[str, str]:
    """Return the spec's text as the form has it, and what is in the way, if anything."""
    text = form.text("text").replace("\r\n", "\n")
    if form.text("by") == "text":
        return text, ""
    try:
        typed = {name.removeprefix("f:"): form.text(name) for name in form.data if name.startswith("f:")}
        return with_values(text, typed_values(fields_of(text), typed)), ""
    except DeskError as err:
        return text, desk_line(err)


def grouped(text: str) -> tuple[tuple[Group, ...], tuple[Group, ...]]:
    """Return the fields of a spec by table: what is built first, then what every spec has."""
    groups: dict[str, list[Field]] = {}
    usual: dict[str, list[Field]] = {}
    for field in fields_of(text):
        first = (field.table, field.key) in FIRST or field.table not in USUAL
        (groups if first else usual).setdefault(field.table, []).append(field)
    made = [tuple(Group(t, "", tuple(f)) for t, f in g.items()) for g in (groups, usual)]
    return made[0], made[1]


async def _shown(
    request: Request,
    text: str,
    action: str,
    start: str,
    trouble: str = "",
    look: Look | None = None,
    saving: bool = False,
) -> Response:
    seen = await asyncio.to_thread(look_at, text) if look is None else look
    built: tuple[Group, ...] = ()
    usual: tuple[Group, ...] = ()
    try:
        built, usual = grouped(text)
        units = str(tables_of(text).get("units", "mm"))
    except DeskError as err:
        trouble, units = trouble or desk_line(err), "mm"
    wrong = bool(trouble or (saving and seen.slip))
    return page(
        request,
        "design.html.jinja",
        HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        place="new" if start else "bench",
        action=action,
        start=start,
        text=text,
        built=built,
        usual=usual,
        units=units,
        look=seen,
        trouble=trouble,
    )


async def look(request: Request) -> Response:
    """Answer with the drawing and the sums of what is typed just now."""
    async with form_of(request) as form:
        text, trouble = _typed(form)
    seen = Look(None, (), "", False, trouble) if trouble else await asyncio.to_thread(look_at, text)
    values: dict[str, Any] = {"look": seen, "t": words_of(request)}
    return HTMLResponse(environment().get_template("look_part.html.jinja").render(values))


async def from_photo(request: Request) -> Response:
    """Trace a dummy in a photo, and show the form with what was measured."""
    desk, words = desk_of(request), words_of(request)
    remembered = remembered_of(desk)
    try:
        async with form_of(request) as form:
            files = form.files("photo")[:1]
            if not files:
                raise DeskError(words("photograph.none"))
            async with photos_of(files) as photos:
                text = await desk.pool.run(
                    "trace_photo", photos[0].name, str(photos[0].path), list(remembered.bars_mm)
                )
    except FoldgaugeError as err:
        return _constructions(request, desk_line(err))
    except WorkFailed as err:
        return _constructions(request, err.line or words("lost.slip", line=err.kind))
    return await _shown(request, str(text), "/new/two-legs", "two-legs")


async def cut_file(request: Request) -> Response:
    """Return the pieces as lines for a cutting plotter."""
    from compare.desk.drawings.cut_svg import cut_svg

    dummy = dummy_of(request)
    text = await asyncio.to_thread(lambda: cut_svg(load_spec(dummy.spec)))
    return download(text.encode("utf-8"), "image/svg+xml", f"{dummy.name}-cut.svg")
