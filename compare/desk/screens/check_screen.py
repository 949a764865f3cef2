"""A check: what is being done, then the answer; joints set by hand; its files."""

from http import HTTPStatus
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from compare.desk.drawings.check_drawing import CSS, SIGN, measures, motion_drawing, photo_layers
from compare.desk.gate.form_intake import form_of
from compare.desk.project.check_folder import ANSWER, PICTURE, REPORT, CheckFolder
from compare.desk.project.dummy_folder import remove
from compare.desk.screens.desk_pages import check_of, desk_of, go, page, words_of
from compare.desk.words.advice_text import photo_advice
from compare.tell.draw.web_page import script_data
from compare.tell.words.cautions import cautions
from compare.units import unit_of

REPORT_POLICY: Final = "sandbox allow-scripts allow-modals; frame-ancestors 'none'"
"""The report brings a policy of its own; here it runs as a page of nobody's, without our cookie."""


async def check(request: Request) -> Response:
    """Show a check as far as it is."""
    dummy, there = check_of(request)
    words = words_of(request)
    advice = there.advice()
    photos = [photo_advice(p, words) for p in advice["photos"]] if advice else []
    common: dict[str, Any] = {"place": "bench", "dummy": dummy, "check": there, "photos": photos}
    told = there.answer()
    if there.state == "waiting" or (there.state == "done" and told is None):
        desk_of(request).queue.add(there)
        return page(request, "check_waiting.html.jinja", **common)
    if told is None:
        return page(request, "check_refused.html.jinja", line=there.refusal(), **common)
    drawn = there.drawn()
    return page(
        request,
        "check.html.jinja",
        **common,
        **answer_values(told),
        layers=photo_layers(drawn) if drawn else None,
        drawn_data=script_data({k: drawn[k] for k in ("width", "height", "low", "scale")}) if drawn else "",
        motion=motion_drawing(drawn["motion"]) if drawn else None,
        motion_data=script_data(drawn["motion"]) if drawn else "",
        movable=len(there.photos()) == 1,
        by_hand=list(told.get("by_hand", {})),
    )


def answer_values(told: Any) -> dict[str, Any]:
    """Return what a template shows of an answer (`check.json`)."""
    unit = unit_of(told.get("spec", {}).get("units", "mm"))
    remedies = told["remedies"]
    mm, decimals = unit.mm, unit.table_decimals
    return {
        "told": told,
        "sign": SIGN[told["verdict"]],
        "css": CSS[told["verdict"]],
        "unit": unit.name,
        "remedies": remedies,
        "cautions": cautions(cuts=any(r["cuts"] for r in remedies)),
        "lengths": measures(told["lengths"], mm=mm, decimals=decimals),
        "pairs": measures(told["pairs"], mm=mm, decimals=decimals),
        "leans": measures(told["lean"], decimals=1),
        "clearances": measures(told["clearance"], mm=mm, decimals=decimals),
    }


async def state(request: Request) -> Response:
    """Tell how far a check is, for the page that waits for it."""
    _, there = check_of(request)
    advice = there.advice()
    return JSONResponse({"state": there.state, "advised": len(advice["photos"]) if advice else 0})


async def picture(request: Request) -> Response:
    """Return the photo cut to the dummy."""
    return _file(check_of(request)[1], PICTURE, "image/jpeg")


async def report(request: Request) -> Response:
    """Return the report, as a page that can do nothing here."""
    answer = _file(check_of(request)[1], REPORT, "text/html")
    answer.headers["content-security-policy"] = REPORT_POLICY
    return answer


async def result(request: Request) -> Response:
    """Return the result for other programs."""
    return _file(check_of(request)[1], ANSWER, "application/json")


def _file(there: CheckFolder, name: str, kind: str) -> Response:
    path = there.folder / name
    if not path.is_file():
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return FileResponse(path, media_type=kind, headers={"cache-control": "private, max-age=600"})


async def take_away(request: Request) -> Response:
    """Move a check out of the way."""
    dummy, there = check_of(request)
    async with form_of(request):
        remove(desk_of(request).project.root, there.folder)
    return go(f"/dummies/{dummy.name}")
