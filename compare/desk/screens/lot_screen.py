"""Lots: folders of photos measured together, stopped and gone on with, the decision first."""

import asyncio
import re
import shutil
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from compare.desk.desk_errors import DeskError
from compare.desk.gate.form_intake import LOT_FILES, form_of, photos_of
from compare.desk.project.check_folder import Brought
from compare.desk.project.dummy_folder import remove, slug_of
from compare.desk.project.lot_folder import LotFolder, lot_named, lots_of
from compare.desk.screens.check_screen import REPORT_POLICY
from compare.desk.screens.desk_pages import Desk, desk_of, go, page, words_of
from compare.desk.words.catalogue import Catalogue

MOST_STEM: Final = 60
CSS: Final = {0: "good", 3: "bad", 4: "unsure"}
SIGN: Final = {"good": "✓", "bad": "✗", "unsure": "?"}


@dataclass(frozen=True, slots=True)
class LotCard:
    """A lot as it is shown.

    Attributes
    ----------
    state : "new", "measuring", "stopped", "refused" or "done". done, total : samples. left : time, in words.
    css, sign : how it was decided. said : the decision, or why not. more : sentences behind it.
    """

    name: str
    photos: int
    state: str
    spec: str
    done: int
    total: int
    left: str
    css: str
    sign: str
    said: str
    more: tuple[str, ...]
    size: str
    aql: str


def card_of(desk: Desk, lot: LotFolder, words: Catalogue) -> LotCard:
    """Return a lot as it is now."""
    told = lot.state()
    state = str(told.get("state", "new"))
    if state == "measuring" and not desk.lots.running(lot):
        state = "stopped"
    css = CSS.get(int(told.get("code", -1)), "unsure") if state == "done" else "waiting"
    done, total = _counts(told)
    return LotCard(
        name=lot.name,
        photos=lot.photos(),
        state=state,
        spec=str(told.get("spec", "")),
        done=done,
        total=total,
        left=_left(told, words) if state == "measuring" else "",
        css=css,
        sign=SIGN.get(css, "…"),
        said=str(told.get("headline" if state == "done" else "line", "")),
        more=tuple(str(s) for s in told.get("sentences", ())) if state == "done" else (),
        size=str(told.get("size") or ""),
        aql=str(told.get("aql") or "1"),
    )


def _counts(told: Mapping[str, Any]) -> tuple[int, int]:
    return int(told.get("done", 0)) + int(told.get("known", 0)), int(told.get("total", 0))


def _left(told: Mapping[str, Any], words: Catalogue) -> str:
    """Return how long it still takes, in words; "" where nothing is known yet."""
    done = int(told.get("done", 0))
    todo = int(told.get("total", 0)) - int(told.get("known", 0)) - done
    if done < 1 or todo < 1:
        return ""
    seconds = (time.time() - float(told.get("began", time.time()))) / done * todo
    if seconds < 90:
        return words("lots.seconds_left", count=max(round(seconds), 1))
    return words("lots.minutes_left", count=round(seconds / 60))


async def lots(request: Request) -> Response:
    """Show all lots."""
    return await _shown(request)


async def _shown(request: Request, trouble: str = "") -> Response:
    desk, words = desk_of(request), words_of(request)
    cards = [card_of(desk, lot, words) for lot in lots_of(desk.project.root)]
    return page(
        request,
        "lots.html.jinja",
        HTTPStatus.UNPROCESSABLE_ENTITY if trouble else HTTPStatus.OK,
        place="lots",
        trouble=trouble,
        cards=cards,
        busy=desk.lots.any_running(),
        dummies=[d.name for d in desk.project.dummies()],
        progress=sum(c.done for c in cards if c.state == "measuring"),
    )


async def lots_state(request: Request) -> Response:
    """Tell how far the lots are, for the page that waits."""
    desk, words = desk_of(request), words_of(request)
    cards = [card_of(desk, lot, words) for lot in lots_of(desk.project.root)]
    going = [c for c in cards if c.state == "measuring"]
    return JSONResponse({"state": "waiting" if going else "idle", "advised": sum(c.done for c in going)})


def _lot_of(request: Request) -> LotFolder:
    lot = lot_named(desk_of(request).project.root, request.path_params["lot"])
    if lot is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return lot


async def new_lot(request: Request) -> Response:
    """Make a lot's folder, or put more photos into it."""
    desk, words = desk_of(request), words_of(request)
    try:
        async with form_of(request, most_files=LOT_FILES) as form:
            files = form.files("photos")
            if not files:
                raise DeskError(words("photograph.none"))
            title = form.text("name").strip()
            home = desk.project.root / "lots"
            there = lot_named(desk.project.root, title)
            taken = [lot.name for lot in lots_of(desk.project.root)]
            folder = there.folder if there else home / slug_of(title or "lot", taken)
            async with photos_of(files) as photos:
                await asyncio.to_thread(_put, photos, folder)
    except DeskError as err:
        return await _shown(request, str(err))
    return go("/lots")


def _put(photos: Sequence[Brought], folder: Path) -> None:
    """Copy photos into a lot's folder, under their own names made plain: lots go by them."""
    folder.mkdir(parents=True, exist_ok=True)
    for photo in photos:
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(photo.name).stem).strip("-")[:MOST_STEM] or "photo"
        target, number = folder / f"{stem}{photo.suffix}", 2
        while target.exists():
            target, number = folder / f"{stem}-{number}{photo.suffix}", number + 1
        shutil.copyfile(photo.path, target)


async def measure(request: Request) -> Response:
    """Begin a lot, or go on with it."""
    desk, lot = desk_of(request), _lot_of(request)
    async with form_of(request) as form:
        dummy = desk.project.dummy(form.text("dummy"))
        size, aql = form.text("size").strip(), form.text("aql").strip().replace(",", ".") or "1"
    if dummy is None:
        return await _shown(request, words_of(request)("phone.no_dummy"))
    try:
        plan = (int(size), float(aql)) if size else None
    except ValueError:
        return await _shown(request, words_of(request)("lots.size_wanted"))
    if desk.lots.any_running():
        return await _shown(request, words_of(request)("lots.one_at_a_time"))
    remembered = desk.project.remembered()
    await asyncio.to_thread(desk.lots.begin, desk.project.root, lot, dummy.spec, remembered, plan)
    return go("/lots")


async def stop(request: Request) -> Response:
    """Stop a lot."""
    desk, lot = desk_of(request), _lot_of(request)
    async with form_of(request):
        await asyncio.to_thread(desk.lots.stop, lot)
    return go("/lots")


async def take_away(request: Request) -> Response:
    """Move a lot out of the way."""
    desk, lot = desk_of(request), _lot_of(request)
    async with form_of(request):
        await asyncio.to_thread(desk.lots.stop, lot)
        remove(desk.project.root, lot.folder)
        for path in (lot.state_file, lot.report):
            if path.exists():
                remove(desk.project.root, path)
    return go("/lots")


async def report(request: Request) -> Response:
    """Return a lot's report, as a page that can do nothing here."""
    path = _lot_of(request).report
    if not path.is_file():
        raise HTTPException(HTTPStatus.NOT_FOUND)
    answer = FileResponse(path, media_type="text/html")
    answer.headers["content-security-policy"] = REPORT_POLICY
    return answer
