"""The bench: all dummies with their last answer, and the set-up of the folder."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.requests import Request
from starlette.responses import Response

from capture.errors import FoldgaugeError
from compare.desk.desk_errors import DeskError
from compare.desk.drawings.check_drawing import CSS, SIGN
from compare.desk.drawings.dummy_drawing import DummyDrawing, dummy_drawing
from compare.desk.gate.form_intake import form_of
from compare.desk.project.check_folder import Asked, Brought, CheckFolder
from compare.desk.project.dummy_folder import DummyFolder
from compare.desk.project.project_file import LANGUAGES, changed, checked_bars
from compare.desk.screens.desk_pages import desk_of, download, go, page, remembered_of, words_of
from compare.desk.words.desk_option_names import desk_line
from compare.jobs.demo_sample import demo_files

MOST_DRAWN = 200
PAPERS = ("a4", "a3", "letter", "tabloid")


@dataclass(frozen=True, slots=True)
class Line:
    """One check in one line: its name, how it ended, what it says."""

    name: str
    state: str
    sign: str
    css: str
    said: str


@dataclass(frozen=True, slots=True)
class Card:
    """A dummy on the bench."""

    name: str
    title: str
    drawing: DummyDrawing | None
    last: Line | None
    count: int
    trouble: str


@lru_cache(maxsize=MOST_DRAWN)
def _drawn(path: Path, stamp: int) -> tuple[str, DummyDrawing]:
    from compare.design.load_spec import load_spec

    spec = load_spec(path)
    return spec.title, dummy_drawing(spec, figures=False)


def line_of(check: CheckFolder) -> Line:
    """Return a check in one line."""
    if check.state == "refused":
        return Line(check.name, "refused", "–", "refused", check.refusal())
    told = check.answer()
    if told is None:
        return Line(check.name, "waiting", "…", "waiting", "")
    verdict = str(told.get("verdict", ""))
    return Line(check.name, "done", SIGN.get(verdict, "?"), CSS.get(verdict, "unsure"), str(told["answer"]))


def card_of(dummy: DummyFolder) -> Card:
    """Return a dummy as it lies on the bench."""
    checks = dummy.checks()
    last = line_of(checks[0]) if checks else None
    try:
        title, drawing = _drawn(dummy.spec, dummy.spec.stat().st_mtime_ns)
    except FoldgaugeError as err:
        return Card(dummy.name, dummy.name, None, last, len(checks), desk_line(err))
    return Card(dummy.name, title or dummy.name, drawing, last, len(checks), "")


async def bench(request: Request) -> Response:
    """Show the bench."""
    desk = desk_of(request)
    cards = [card_of(d) for d in desk.project.dummies()]
    return page(request, "bench.html.jinja", place="bench", cards=cards, remembered=remembered_of(desk))


async def sample(request: Request) -> Response:
    """Put the sample that comes with the program on the bench, with its photo."""
    from datetime import date

    desk = desk_of(request)
    async with form_of(request):
        photo, spec = demo_files()
        dummy = desk.project.add_dummy(words_of(request)("bench.sample_name"), spec.read_text("utf-8"))
        check = dummy.add_check([Brought(photo.name, photo, photo.suffix)], Asked(), date.today())
        desk.queue.add(check)
    return go(f"/dummies/{dummy.name}/{check.name}")


async def set_up(request: Request) -> Response:
    """Show what the folder remembers, and change it."""
    desk = desk_of(request)
    words = words_of(request)
    trouble, saved = "", False
    if request.method == "POST":
        async with form_of(request) as form:
            try:
                was = desk.project.remembered()
                bars = [form.text(k).strip().replace(",", ".") for k in ("bar_across", "bar_up")]
                now = changed(
                    was,
                    bars_mm=_bars(bars, words("setup.bars_wanted")),
                    units=_choice(form.text("units"), ("mm", "in"), was.units),
                    rule=_choice(form.text("rule"), ("guarded", "simple"), was.rule),
                    use=_choice(form.text("use"), ("auto", "arch", "backdrop"), was.use),
                    language=_choice(form.text("language"), LANGUAGES, was.language),
                )
                files = form.files("camera")
                if files:
                    now = changed(now, camera=await _camera(desk.project.root, files[0]))
                elif form.text("no_camera"):
                    now = changed(now, camera="")
                desk.project.remember(now)
                saved = True
            except FoldgaugeError as err:
                trouble = desk_line(err)
    if saved:
        return go("/set-up?saved=1")
    return page(
        request,
        "set_up.html.jinja",
        place="set_up",
        remembered=remembered_of(desk),
        trouble=trouble,
        saved="saved" in request.query_params,
        papers=PAPERS,
    )


def _choice(given: str, choices: tuple[str, ...], otherwise: str) -> str:
    return given if given in choices else otherwise


def _bars(given: list[str], wanted: str) -> tuple[float, ...]:
    if not any(given):
        return ()
    try:
        numbers = [float(v) for v in given]
    except ValueError:
        raise DeskError(wanted) from None
    return checked_bars(numbers, wanted)


async def _camera(root: Path, file: object) -> str:
    """Keep a calibrated camera's file in the folder, if it is one."""
    from starlette.datastructures import UploadFile

    from capture.camera.camera_file import read_camera, write_camera

    assert isinstance(file, UploadFile)
    with TemporaryDirectory(prefix="foldgauge-desk-") as folder:
        path = Path(folder) / "camera.toml"
        path.write_bytes(await file.read(1_000_000))
        camera = read_camera(path)
    write_camera(camera, root / "camera.toml", replace=True)
    return "camera.toml"


async def sheet(request: Request) -> Response:
    """Return the marker sheet for a paper."""
    import asyncio

    from starlette.exceptions import HTTPException

    paper = request.path_params["paper"]
    if paper not in PAPERS:
        raise HTTPException(404)
    data = await asyncio.to_thread(_sheet_pdf, paper)
    return download(data, "application/pdf", f"sheet-{paper}.pdf", inline=True)


def _sheet_pdf(paper: str) -> bytes:
    from capture.sheet.sheet_pdf import write_sheet

    with TemporaryDirectory(prefix="foldgauge-desk-") as folder:
        path = Path(folder) / "sheet.pdf"
        write_sheet(path, paper)
        return path.read_bytes()
