"""Drawing a marker sheet as a vector PDF at true size.

Page 1 is the sheet with its sill, page 2 the doorstep and the apron, page 3 shows how to use them.
Everything is drawn in nominal mm of the sheet frame, so the numbers in `capture.sheet.marker_sheet` and
`capture.sheet.sill` are the numbers on the paper.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from capture.errors import SheetError
from capture.files import FileKind, write_whole
from capture.sheet.apron_pdf import draw_apron
from capture.sheet.board import BOARD_ENLARGED
from capture.sheet.board_pdf import draw_board
from capture.sheet.doorstep_pdf import draw_doorstep
from capture.sheet.how_to_pdf import draw_instructions
from capture.sheet.marker_sheet import MarkerSheet, sheet_for_paper
from capture.sheet.printed_marks import FIELD_GREY, LINE_MM, SMALL_PT, draw_bar, draw_checks, text
from capture.sheet.sill import SILL_SHEETS, printed_sill
from capture.sheet.sill_pdf import draw_guides, draw_sill

SHEET_PDF: Final = FileKind("a marker sheet", (".pdf",), b"foldgauge: marker sheet")
BOARD_PDF: Final = FileKind("a calibration board", (".pdf",), b"foldgauge: calibration board")


def write_sheet(
    path: Path, paper: str = "a4", dark_field: bool = True, *, sill: bool = True, replace: bool = False
) -> None:
    """Write the sheet for a paper size as a PDF: the sheet, doorstep and apron, instructions.

    Parameters
    ----------
    path : where to write.
    paper : one of `capture.sheet.marker_sheet.SHEETS`.
    dark_field : fill the window nearly black (backdrop use wants it; arch use cuts it out).
    sill : False draws the first page as it was printed before there was a sill, its ring closed.

    Raises
    ------
    SheetError
        Unknown paper, or the file cannot be written.
    """
    sheet = sheet_for_paper(paper)
    sheet = SILL_SHEETS[sheet.paper] if sill else sheet

    def draw(canvas: Any) -> None:
        draw_sheet(canvas, sheet, dark_field=dark_field)
        canvas.showPage()
        draw_doorstep(canvas, sheet.paper_mm)
        draw_apron(canvas, sheet.paper_mm)
        canvas.showPage()
        draw_instructions(canvas, sheet)

    write_pdf(
        path, sheet.paper_mm, f"foldgauge marker sheet, {paper_name(sheet)}", draw, SHEET_PDF, replace=replace
    )


def write_board(path: Path, paper: str = "a4", *, replace: bool = False) -> None:
    """Write the calibration board for a paper size as a PDF of one page.

    Raises
    ------
    SheetError
        Unknown paper, or the file cannot be written.
    """
    sheet = sheet_for_paper(paper)
    write_pdf(
        path,
        sheet.paper_mm,
        f"foldgauge calibration board, {paper_name(sheet)}",
        lambda canvas: draw_board(canvas, sheet.paper_mm, BOARD_ENLARGED[sheet.paper]),
        BOARD_PDF,
        replace=replace,
    )


def write_pdf(
    path: Path,
    paper_mm: tuple[float, float],
    title: str,
    draw: Callable[[Any], None],
    kind: FileKind,
    *,
    replace: bool = False,
) -> None:
    """Write a PDF; the mark of its kind stands in it as its creator. See `capture.files.write_whole`.

    Raises
    ------
    SheetError
        The file cannot be written.
    """

    def make(part: Path) -> None:
        canvas = Canvas(str(part), pagesize=(paper_mm[0] * mm, paper_mm[1] * mm), invariant=1)
        canvas.setTitle(title)
        assert kind.mark is not None
        canvas.setCreator(kind.mark.decode("ascii"))
        canvas.setViewerPreference("PrintScaling", "None")
        draw(canvas)
        canvas.save()

    write_whole(path, make, SheetError, kind, replace=replace)


def paper_name(sheet: MarkerSheet) -> str:
    """Return the paper's name as printed: A4, A3, letter, tabloid."""
    return sheet.paper.upper() if sheet.paper.startswith("a") else sheet.paper


def draw_sheet(canvas: Any, sheet: MarkerSheet, *, dark_field: bool) -> None:
    """Draw page 1 on a reportlab canvas whose page has the paper's size."""
    canvas.saveState()
    canvas.translate(sheet.paper_mm[0] * mm / 2, sheet.paper_mm[1] * mm / 2)
    canvas.scale(mm, mm)
    left, bottom, right, top = sheet.window
    if dark_field:
        canvas.setFillGray(FIELD_GREY)
        canvas.rect(left, bottom, right - left, top - bottom, stroke=0, fill=1)
    sill = None if sheet.fold_mm is None else printed_sill(sheet)
    lying = () if sill is None else sill.tag_ids
    upright = {i: corners for i, corners in sheet.tags.items() if i not in lying}
    draw_checks(canvas, sheet.black_squares, sheet.square_mm, upright)
    _draw_window(canvas, sheet, light=dark_field)
    if sill is None:
        _draw_arch_cuts(canvas, sheet)
    else:
        draw_sill(canvas, sill)
        draw_guides(canvas, sill, window_mm=float(sheet.cut_path[-1, 0]))
    for bar in sheet.bars:
        draw_bar(canvas, bar)
    _draw_margin_text(canvas, sheet)
    canvas.restoreState()


def _draw_window(canvas: Any, sheet: MarkerSheet, *, light: bool) -> None:
    """Draw the solid line along which the window is cut."""
    canvas.setLineWidth(LINE_MM)
    canvas.setStrokeGray(1.0 if light else 0.0)
    path = canvas.beginPath()
    path.moveTo(*sheet.cut_path[0])
    for point in sheet.cut_path[1:]:
        path.lineTo(*point)
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_arch_cuts(canvas: Any, sheet: MarkerSheet) -> None:
    """Draw dashes in the margin for the cuts that take the bottom band away (nothing on the ring)."""
    canvas.setDash(1.2, 0.8)
    ring_bottom, edge = sheet.ring[1], -sheet.paper_mm[1] / 2
    canvas.setStrokeGray(0.0)
    for cut in sheet.arch_cuts:
        canvas.line(cut[0, 0], ring_bottom - 1.0, cut[0, 0], edge)
    canvas.setDash()


def _draw_margin_text(canvas: Any, sheet: MarkerSheet) -> None:
    """Short reminders in the top and left margins, which the arch cut leaves on the sheet."""
    bar = sheet.bars[0]
    text(
        canvas,
        bar.end_mm[0] + 14.0,
        bar.end_mm[1] - 0.75,
        f"foldgauge {paper_name(sheet)} - print at 100 %; check both bars with a steel rule, tick to tick",
        width_mm=sheet.ring[2] - bar.end_mm[0] - 14.0,
    )
    canvas.saveState()
    canvas.translate(sheet.bars[1].start_mm[0], sheet.bars[1].start_mm[1] - 2.0)
    canvas.rotate(90)
    canvas.setFillGray(0)
    canvas.setFont("Helvetica", SMALL_PT / mm)
    canvas.drawRightString(0, -0.75, "keep flat and upright" if sheet.fold_mm is None else "keep flat")
    canvas.restoreState()
