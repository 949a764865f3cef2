"""One dummy: its drawing, a place to bring photos, its checks before and after, its files."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from capture.errors import FoldgaugeError
from compare.design.load_spec import load_spec
from compare.desk.desk_errors import DeskError
from compare.desk.drawings.check_drawing import LeanPoint, lean_row
from compare.desk.drawings.dummy_drawing import dummy_drawing
from compare.desk.gate.form_intake import Form, form_of, photos_of
from compare.desk.project.check_folder import Asked, CheckFolder, Way
from compare.desk.project.dummy_folder import DummyFolder, remove
from compare.desk.project.project_file import Remembered
from compare.desk.screens.bench_screen import Line, line_of
from compare.desk.screens.desk_pages import (
    Desk,
    desk_of,
    download,
    dummy_of,
    go,
    page,
    remembered_of,
    words_of,
)
from compare.desk.words.catalogue import Catalogue
from compare.desk.words.desk_option_names import desk_line

SHOWN_CHECKS: Final = 40
SMALL_CHANGE_MM: Final = 0.1
SMALL_CHANGE_DEG: Final = 0.1
MOST_CHANGES: Final = 3
MOST_STANDOFF_MM: Final = 1000.0


@dataclass(frozen=True, slots=True)
class RowOfChecks:
    """A check in the row: its line, and what changed since the one before."""

    line: Line
    changes: tuple[str, ...]


def asked_of(form: Form, remembered: Remembered, root: Path, *, shut: bool, by: Way, wanted: str) -> Asked:
    """Return how a check is to be done, from the form and what the folder remembers.

    Raises
    ------
    DeskError : a distance that makes no sense.
    """
    use = form.text("use") or remembered.use
    standoff = form.text("standoff").strip().replace(",", ".")
    mm: float | None = None
    if standoff:
        try:
            mm = float(standoff)
        except ValueError:
            raise DeskError(wanted) from None
        if not 0 <= mm <= MOST_STANDOFF_MM:
            raise DeskError(wanted)
    return Asked(
        use=use if use in ("arch", "backdrop") else "auto",  # type: ignore[arg-type]
        standoff_mm=mm,
        bars_mm=remembered.bars_mm,
        camera=root / remembered.camera if remembered.camera else None,
        rule=remembered.rule,
        shut=shut,
        by=by,
    )


async def bring(
    desk: Desk, dummy: DummyFolder, form: Form, words: Catalogue, *, by: Way = "desk"
) -> CheckFolder:
    """Make a check of the photos a form brings, and have it done.

    Raises
    ------
    DeskError : no photo, or none that can be read.
    """
    open_photos, shut = form.files("photos"), form.files("shut")[:1]
    if not open_photos:
        raise DeskError(words("photograph.none"))
    remembered = desk.project.remembered()
    asked = asked_of(
        form,
        remembered,
        desk.project.root,
        shut=bool(shut),
        by=by,
        wanted=words("photograph.standoff_wanted"),
    )
    async with photos_of([*open_photos, *shut]) as photos:
        check = await asyncio.to_thread(dummy.add_check, photos, asked, date.today())
    desk.queue.add(check)
    return check


async def dummy(request: Request) -> Response:
    """Show a dummy."""
    return await _shown(request, dummy_of(request))


async def _shown(request: Request, there: DummyFolder, trouble: str = "") -> Response:
    words = words_of(request)
    spec, drawing, slip = None, None, ""
    try:
        spec = load_spec(there.spec)
        drawing = dummy_drawing(spec)
    except FoldgaugeError as err:
        slip = desk_line(err)
    checks = await asyncio.to_thread(there.checks)
    status = HTTPStatus.UNPROCESSABLE_ENTITY if trouble else HTTPStatus.OK
    return page(
        request,
        "dummy.html.jinja",
        status,
        place="bench",
        dummy=there,
        title=(spec.title if spec else "") or there.name,
        drawing=drawing,
        slip=slip,
        trouble=trouble,
        row=row_of(checks[:SHOWN_CHECKS], words),
        more=max(len(checks) - SHOWN_CHECKS, 0),
        leans=lean_rows(list(reversed(checks[:SHOWN_CHECKS])), words),
        remembered=remembered_of(desk_of(request)),
    )


async def photographs(request: Request) -> Response:
    """Take photos for a check."""
    desk, there = desk_of(request), dummy_of(request)
    try:
        async with form_of(request) as form:
            check = await bring(desk, there, form, words_of(request))
    except FoldgaugeError as err:
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({"line": desk_line(err)}, HTTPStatus.UNPROCESSABLE_ENTITY)
        return await _shown(request, there, desk_line(err))
    path = f"/dummies/{there.name}/{check.name}"
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"go": path})
    return go(path)


async def take_away(request: Request) -> Response:
    """Move a dummy out of the way."""
    desk, there = desk_of(request), dummy_of(request)
    async with form_of(request):
        remove(desk.project.root, there.folder)
    return go("/")


def row_of(checks: Sequence[CheckFolder], words: Catalogue) -> list[RowOfChecks]:
    """Return checks, newest first, each with what changed since the one before that was measured."""
    measured = [c for c in checks if c.state == "done" and c.answer() is not None]
    before = dict(zip([c.name for c in measured], measured[1:], strict=False))
    out = []
    for check in checks:
        earlier = before.get(check.name)
        out.append(RowOfChecks(line_of(check), changes_of(check, earlier, words) if earlier else ()))
    return out


def changes_of(check: CheckFolder, earlier: CheckFolder, words: Catalogue) -> tuple[str, ...]:
    """Return what changed between two checks: leans first, then lengths by more than both are sure of."""
    now, then = check.answer() or {}, earlier.answer() or {}
    out = []
    for half, item in now.get("lean", {}).items():
        was = then.get("lean", {}).get(half)
        if not was or None in (was["measured"], item["measured"]):
            continue
        if abs(item["measured"] - was["measured"]) >= SMALL_CHANGE_DEG:
            out.append(
                words("row.lean", half=half, was=f"{was['measured']:+.1f}", now=f"{item['measured']:+.1f}")
            )
    moved = []
    for name, item in now.get("lengths", {}).items():
        was = then.get("lengths", {}).get(name)
        if was is None or None in (was["measured"], item["measured"], was["U"], item["U"]):
            continue
        step = item["measured"] - was["measured"]
        if abs(step) > max((was["U"] ** 2 + item["U"] ** 2) ** 0.5, SMALL_CHANGE_MM):
            moved.append((abs(step), words("row.length", name=name, step=f"{step:+.1f}")))
    return (*out, *(said for _, said in sorted(moved, reverse=True)[:MOST_CHANGES]))


def lean_rows(checks: Sequence[CheckFolder], words: Catalogue) -> list[tuple[str, Markup]]:
    """Return a drawing per half: its lean from check to check, oldest first; none for a single check."""
    told = [(c.name, a) for c in checks if (a := c.answer()) is not None]
    if len(told) < 2:
        return []
    halves: dict[str, None] = dict.fromkeys(h for _, a in told for h in a.get("lean", {}))
    out = []
    for half in halves:
        points, allowed = [], 1.0
        for name, answer in told:
            item: dict[str, Any] = answer["lean"].get(half, {})
            limits = [abs(v) for v in item.get("limits", []) if v is not None]
            allowed = max(limits, default=allowed)
            points.append(
                LeanPoint(
                    name,
                    _number(item.get("measured")),
                    _number(item.get("U")),
                    str(item.get("verdict", "")),
                )
            )
        label = words("row.lean_over_time", half=half, count=len(points))
        out.append((label, lean_row(points, allowed, label)))
    return out


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)


async def template(request: Request) -> Response:
    """Return the cutting template."""
    there = dummy_of(request)
    try:
        data = await asyncio.to_thread(_template_pdf, there.spec)
    except FoldgaugeError as err:
        raise HTTPException(HTTPStatus.CONFLICT, desk_line(err)) from None
    return download(data, "application/pdf", f"{there.name}-template.pdf", inline=True)


def _template_pdf(spec: Path) -> bytes:
    from compare.tell.design.template_pdf import write_template

    with TemporaryDirectory(prefix="foldgauge-desk-") as folder:
        path = Path(folder) / "template.pdf"
        write_template(path, load_spec(spec))
        return path.read_bytes()


async def spec_file(request: Request) -> Response:
    """Return the spec as it lies in the folder."""
    there = dummy_of(request)
    return download(there.spec.read_bytes(), "application/toml", f"{there.name}.toml")
