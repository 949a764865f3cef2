"""Joints set by hand: figures at once, and kept as a new check."""

import asyncio
import json
import math
from collections.abc import Sequence
from datetime import date
from http import HTTPStatus
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from compare.desk.drawings.check_drawing import photo_layers
from compare.desk.gate.form_intake import HEADER, form_of, require_token
from compare.desk.project.check_folder import POINTS, Asked, Brought, CheckFolder
from compare.desk.project.project_file import checked_bars
from compare.desk.screens.check_screen import answer_values
from compare.desk.screens.desk_pages import check_of, desk_of, environment, go, words_of
from compare.desk.work.worker_pool import WorkFailed

MOST_POINTS: Final = 60
MOST_BYTES: Final = 20_000
LONGEST: Final = 80

Point = tuple[str, float, float]


def points_of(text: str) -> list[Point]:
    """Return joints set by hand from JSON: [[name, x, y], ...], pixels of the photo.

    Raises
    ------
    HTTPException : 400, it is nothing of the kind.
    """
    wrong = HTTPException(HTTPStatus.BAD_REQUEST, "no list of joints")
    try:
        rows = json.loads(text) if len(text) <= MOST_BYTES else None
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(rows, list) or len(rows) > MOST_POINTS:
        raise wrong
    out: list[Point] = []
    for row in rows:
        if not isinstance(row, list) or len(row) != 3 or not isinstance(row[0], str):
            raise wrong
        x, y = row[1], row[2]
        if not all(isinstance(v, int | float) and math.isfinite(v) for v in (x, y)):
            raise wrong
        if not row[0].isprintable() or len(row[0]) > LONGEST or '"' in row[0]:
            raise wrong
        out.append((row[0], float(x), float(y)))
    return out


def points_text(points: Sequence[Point]) -> str:
    """Return them as the points file of the house (`measure.joints.by_hand`)."""
    return "joint,x,y\n" + "".join(f'"{name}",{x:.2f},{y:.2f}\n' for name, x, y in points)


def _known_points(check: CheckFolder) -> list[Point]:
    """Return the joints that were set by hand in this check already."""
    from measure.joints.by_hand import read_points

    path = check.folder / POINTS
    return [(p.joint, p.x_px, p.y_px) for p in read_points(path)] if path.is_file() else []


def _together(check: CheckFolder, points: Sequence[Point]) -> list[Point]:
    """Return those of the check with the new ones in place of older ones of the same joint."""
    fresh = {p[0] for p in points}
    return [*(p for p in _known_points(check) if p[0] not in fresh), *points]


async def try_by_hand(request: Request) -> Response:
    """Answer with the parts of the screen as they come out with these joints."""
    require_token(request, request.headers.get(HEADER, ""))
    _, check = check_of(request)
    points = points_of((await request.body()).decode("utf-8", "replace"))
    words = words_of(request)
    try:
        folder = str(check.folder)
        tried = await desk_of(request).pool.run("try_points", folder, _together(check, points), about=folder)
    except WorkFailed as err:
        line = err.line or words("hand.nonsense")
        return JSONResponse({"line": line}, HTTPStatus.UNPROCESSABLE_ENTITY)
    told: dict[str, Any] = {**tried["answer"], "spec": (check.answer() or {}).get("spec", {})}
    values = {**answer_values(told), "t": words, "layers": photo_layers(tried["drawn"]), "form_token": ""}
    part = environment().get_template
    return JSONResponse(
        {
            "answer": part("answer_part.html.jinja").render(values),
            "lengths": part("lengths_part.html.jinja").render(values),
            "listed": part("listed_part.html.jinja").render(values),
            "layers": part("layers_part.html.jinja").render(values),
            "said": words("hand.said", count=len(points)),
        }
    )


async def keep(request: Request) -> Response:
    """Make a new check of the same photo with these joints; the old one stays as it is."""
    dummy, check = check_of(request)
    async with form_of(request) as form:
        points = _together(check, points_of(form.text("points") or "[]"))
    if not points:
        return go(f"/dummies/{dummy.name}/{check.name}")
    was = check.asked()
    photos = [Brought(name, path, path.suffix) for name, path in check.photos()]
    asked = Asked(
        use=was.get("use", "auto"),
        standoff_mm=was.get("standoff"),
        bars_mm=checked_bars(was.get("bars", ()), "bars"),
        camera=check.folder / "camera.toml" if was.get("camera") else None,
        rule=was.get("rule", "guarded"),
        points=points_text(points),
        shut=bool(was.get("last_photo_shut")),
    )
    fresh = await asyncio.to_thread(dummy.add_check, photos, asked, date.today(), check.spec)
    desk_of(request).queue.add(fresh)
    return go(f"/dummies/{dummy.name}/{fresh.name}")
