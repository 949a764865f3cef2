"""What all screens share: the desk itself, templates in the folder's language, answers to a slip."""

from dataclasses import dataclass, field
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from compare.desk.desk_errors import DeskError
from compare.desk.gate.phone_door import PhoneDoor
from compare.desk.project.check_folder import CheckFolder
from compare.desk.project.dummy_folder import DummyFolder
from compare.desk.project.project_file import Remembered
from compare.desk.project.project_folder import Project
from compare.desk.words.catalogue import LANGUAGES, Catalogue, catalogue
from compare.desk.work.check_queue import CheckQueue
from compare.desk.work.lot_process import LotRuns
from compare.desk.work.worker_pool import WorkerPool

PAGES: Final = Path(__file__).resolve().parents[1] / "page"
STATIC: Final = Path(__file__).resolve().parents[1] / "static"


@dataclass(slots=True, eq=False)
class Desk:
    """An open desk: the project, the workers, the queue, the lots in hand, the phone's door if it is open."""

    project: Project
    pool: WorkerPool
    queue: CheckQueue
    lots: LotRuns = field(default_factory=LotRuns)
    phone: PhoneDoor | None = None


@cache
def environment() -> Environment:
    """Return the templates' surroundings: everything is escaped."""
    return Environment(
        loader=FileSystemLoader(PAGES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def desk_of(request: Request) -> Desk:
    """Return the desk a request came to."""
    desk: Desk = request.app.state.desk
    return desk


def remembered_of(desk: Desk) -> Remembered:
    """Return what the folder remembers; the usual, if its file has been spoilt meanwhile."""
    try:
        return desk.project.remembered()
    except DeskError:
        return Remembered()


def words_of(request: Request) -> Catalogue:
    """Return the words in the folder's language."""
    return catalogue(remembered_of(desk_of(request)).language)


def page(
    request: Request, template: str, status: int = HTTPStatus.OK, *, place: str = "", **values: Any
) -> Response:
    """Return a screen; `place` names it in the row of screens above."""
    desk = desk_of(request)
    words = words_of(request)
    text = (
        environment()
        .get_template(template)
        .render(
            t=words,
            language=words.language,
            languages=LANGUAGES,
            form_token=request.scope["form_token"],
            folder=desk.project.root.name or str(desk.project.root),
            here=request.url.path,
            place=place,
            **values,
        )
    )
    return HTMLResponse(text, status)


def go(path: str) -> Response:
    """Return the way to another screen after something was done."""
    return RedirectResponse(path, HTTPStatus.SEE_OTHER)


def dummy_of(request: Request) -> DummyFolder:
    """Return the dummy an address names.

    Raises
    ------
    HTTPException : 404.
    """
    dummy = desk_of(request).project.dummy(request.path_params["dummy"])
    if dummy is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return dummy


def check_of(request: Request) -> tuple[DummyFolder, CheckFolder]:
    """Return the dummy and the check an address names.

    Raises
    ------
    HTTPException : 404.
    """
    dummy = dummy_of(request)
    check = dummy.check(request.path_params["check"])
    if check is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return dummy, check


def download(data: bytes, kind: str, name: str, *, inline: bool = False) -> Response:
    """Return a file of ours under a name of ours."""
    way = "inline" if inline else "attachment"
    return Response(data, media_type=kind, headers={"content-disposition": f'{way}; filename="{name}"'})
