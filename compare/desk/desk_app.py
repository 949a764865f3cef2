"""The desk as an application: which address leads to which screen."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from http import HTTPStatus
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from capture.errors import FoldgaugeError
from compare.desk.gate.desk_gate import DeskGate, Pass
from compare.desk.project.project_folder import Project
from compare.desk.screens import (
    bench_screen,
    check_screen,
    design_screen,
    dummy_screen,
    hand_screen,
    lot_screen,
    phone_screen,
)
from compare.desk.screens.desk_pages import STATIC, Desk, page, words_of
from compare.desk.screens.watched_folder import watch
from compare.desk.words.desk_option_names import desk_line
from compare.desk.work.check_queue import CheckQueue
from compare.desk.work.worker_pool import WorkerPool

WARM_AFTER_S: Final = 1.0  # the first screen comes first
ONE: Final = "/dummies/{dummy}"
CHECK: Final = "/dummies/{dummy}/{check}"


def routes() -> list[Route | Mount]:
    """Return every address of the desk."""
    get, post = ["GET"], ["POST"]
    return [
        Route("/", bench_screen.bench, methods=get),
        Route("/sample", bench_screen.sample, methods=post),
        Route("/set-up", bench_screen.set_up, methods=[*get, *post]),
        Route("/sheet/{paper}.pdf", bench_screen.sheet, methods=get),
        Route("/new", design_screen.new, methods=get),
        Route("/new/from-photo", design_screen.from_photo, methods=post),
        Route("/new/{start}", design_screen.new_of, methods=[*get, *post]),
        Route("/look", design_screen.look, methods=post),
        Route(ONE, dummy_screen.dummy, methods=get),
        Route(f"{ONE}/spec", design_screen.change, methods=[*get, *post]),
        Route(f"{ONE}/cut.svg", design_screen.cut_file, methods=get),
        Route(f"{ONE}/photos", dummy_screen.photographs, methods=post),
        Route(f"{ONE}/take-away", dummy_screen.take_away, methods=post),
        Route(f"{ONE}/template.pdf", dummy_screen.template, methods=get),
        Route(CHECK, check_screen.check, methods=get),
        Route(f"{CHECK}/state", check_screen.state, methods=get),
        Route(f"{CHECK}/picture.jpg", check_screen.picture, methods=get),
        Route(f"{CHECK}/report.html", check_screen.report, methods=get),
        Route(f"{CHECK}/check.json", check_screen.result, methods=get),
        Route(f"{CHECK}/hand", hand_screen.try_by_hand, methods=post),
        Route(f"{CHECK}/keep", hand_screen.keep, methods=post),
        Route(f"{CHECK}/take-away", check_screen.take_away, methods=post),
        Route("/phone", phone_screen.phone, methods=get),
        Route("/phone/state", phone_screen.phone_state, methods=get),
        Route("/phone/on", phone_screen.switch_on, methods=post),
        Route("/phone/off", phone_screen.switch_off, methods=post),
        Route("/lots", lot_screen.lots, methods=get),
        Route("/lots", lot_screen.new_lot, methods=post),
        Route("/lots/state", lot_screen.lots_state, methods=get),
        Route("/lots/{lot}/measure", lot_screen.measure, methods=post),
        Route("/lots/{lot}/stop", lot_screen.stop, methods=post),
        Route("/lots/{lot}/take-away", lot_screen.take_away, methods=post),
        Route("/lots/{lot}/report.html", lot_screen.report, methods=get),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]


async def _lost(request: Request, err: Exception) -> Response:
    """Answer what is not there, or was refused."""
    status = err.status_code if isinstance(err, HTTPException) else HTTPStatus.INTERNAL_SERVER_ERROR
    said = str(err.detail) if isinstance(err, HTTPException) else type(err).__name__
    words = words_of(request)
    line = words("lost.page") if status == HTTPStatus.NOT_FOUND else words("lost.slip", line=said)
    return page(request, "lost.html.jinja", status, line=line)


async def _slip(request: Request, err: Exception) -> Response:
    """Answer an error the user can mend."""
    assert isinstance(err, FoldgaugeError)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"line": desk_line(err)}, HTTPStatus.UNPROCESSABLE_ENTITY)
    line = words_of(request)("lost.slip", line=desk_line(err))
    return page(request, "lost.html.jinja", HTTPStatus.UNPROCESSABLE_ENTITY, line=line)


def desk_app(project: Project, entry: Pass, pool: WorkerPool) -> ASGIApp:
    """Return the desk of a project, its gate in front."""

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        warming = asyncio.create_task(pool.warm(WARM_AFTER_S))
        desk: Desk = app.state.desk
        watching = asyncio.create_task(watch(desk))
        for check in project.unfinished():
            desk.queue.add(check)
        try:
            yield
        finally:
            warming.cancel()
            watching.cancel()
            if desk.phone is not None:
                await desk.phone.close()
            await asyncio.to_thread(desk.lots.close)
            await desk.queue.stop()
            pool.close()

    app = Starlette(
        routes=routes(),
        lifespan=life,
        exception_handlers={HTTPException: _lost, FoldgaugeError: _slip, Exception: _lost},
    )
    app.state.desk = Desk(project, pool, CheckQueue(pool))
    return DeskGate(app, entry)
