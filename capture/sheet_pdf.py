"""Drawing a marker sheet as a vector PDF at true size.

Page 1 is the sheet, page 2 tells in a few lines how to use it. Everything is drawn in nominal mm of the
sheet frame, so the numbers in `capture.sheet` are the numbers on the paper.
"""

import os
import tempfile
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from capture.errors import SheetError
from capture.sheet import TAG_MODULES, CheckBar, MarkerSheet, sheet_for_paper

FIELD_GREY: Final = 0.11
"""Grey of the dark field (0 black, 1 white): dark behind white card, yet saving some ink."""

_TICK_MM: Final = 2.0
_LINE_MM: Final = 0.25
_SMALL_PT: Final = 6.0


def write_sheet(path: Path, paper: str = "a4", dark_field: bool = True) -> None:
    """Write the sheet for a paper size as a two-page PDF; an existing file is replaced only when all is done.

    Parameters
    ----------
    path : where to write.
    paper : one of `capture.sheet.SHEETS`.
    dark_field : fill the window nearly black (backdrop use wants it; arch use cuts it out).

    Raises
    ------
    SheetError
        Unknown paper, or the file cannot be written.
    """
    sheet = sheet_for_paper(paper)
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as exc:
        raise SheetError(f"cannot write {path}: {exc.strerror}; choose another folder or name") from None
    try:
        with os.fdopen(handle, "wb") as stream:
            canvas = Canvas(stream, pagesize=(sheet.paper_mm[0] * mm, sheet.paper_mm[1] * mm), invariant=1)
            canvas.setTitle(f"foldgauge marker sheet, {paper_name(sheet)}")
            canvas.setViewerPreference("PrintScaling", "None")
            draw_sheet(canvas, sheet, dark_field=dark_field)
            canvas.showPage()
            draw_instructions(canvas, sheet)
            canvas.save()
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as exc:
        raise SheetError(f"cannot write {path}: {exc.strerror}; choose another folder or name") from None
    finally:
        Path(temporary).unlink(missing_ok=True)


def paper_name(sheet: MarkerSheet) -> str:
    """Return the paper's name as printed: A4, A3, letter, tabloid."""
    return sheet.paper.upper() if sheet.paper.startswith("a") else sheet.paper


def tag_bits(tag_id: int) -> NDArray[np.bool_]:
    """Return the tag's modules (8, 8), True = white, row 0 at the top, black border included."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, tag_id, TAG_MODULES, borderBits=1)) > 127


def draw_sheet(canvas: Any, sheet: MarkerSheet, *, dark_field: bool) -> None:
    """Draw page 1 on a reportlab canvas whose page has the paper's size."""
    canvas.saveState()
    canvas.translate(sheet.paper_mm[0] * mm / 2, sheet.paper_mm[1] * mm / 2)
    canvas.scale(mm, mm)
    left, bottom, right, top = sheet.window
    if dark_field:
        canvas.setFillGray(FIELD_GREY)
        canvas.rect(left, bottom, right - left, top - bottom, stroke=0, fill=1)
    _draw_ring(canvas, sheet)
    _draw_cuts(canvas, sheet, light=dark_field)
    for bar in sheet.bars:
        _draw_bar(canvas, bar)
    _draw_margin_text(canvas, sheet)
    canvas.restoreState()


def _draw_ring(canvas: Any, sheet: MarkerSheet) -> None:
    """Black squares as one path and each tag's white modules as one path: no hairlines between neighbours."""
    canvas.setFillGray(0)
    squares = canvas.beginPath()
    for x, y in sheet.black_squares:
        squares.rect(x, y, sheet.square_mm, sheet.square_mm)
    for corners in sheet.tags.values():
        side = corners[1, 0] - corners[0, 0]
        squares.rect(corners[3, 0], corners[3, 1], side, side)
    canvas.drawPath(squares, stroke=0, fill=1)
    canvas.setFillGray(1)
    for tag_id, corners in sheet.tags.items():
        module = (corners[1, 0] - corners[0, 0]) / TAG_MODULES
        white = canvas.beginPath()
        for row, col in np.argwhere(tag_bits(tag_id)):
            white.rect(corners[0, 0] + col * module, corners[0, 1] - (row + 1) * module, module, module)
        canvas.drawPath(white, stroke=0, fill=1)


def _draw_cuts(canvas: Any, sheet: MarkerSheet, *, light: bool) -> None:
    """Draw the solid window cut, and dashes in the margin for the arch cuts (nothing on the ring)."""
    canvas.setLineWidth(_LINE_MM)
    canvas.setStrokeGray(1.0 if light else 0.0)
    path = canvas.beginPath()
    path.moveTo(*sheet.cut_path[0])
    for point in sheet.cut_path[1:]:
        path.lineTo(*point)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash(1.2, 0.8)
    ring_bottom, edge = sheet.ring[1], -sheet.paper_mm[1] / 2
    canvas.setStrokeGray(0.0)
    for cut in sheet.arch_cuts:
        canvas.line(cut[0, 0], ring_bottom - 1.0, cut[0, 0], edge)
    canvas.setDash()


def _draw_bar(canvas: Any, bar: CheckBar) -> None:
    """Draw a thin line between two ticks, and its length beside it."""
    canvas.setStrokeGray(0.0)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(_LINE_MM)
    (x0, y0), (x1, y1) = bar.start_mm, bar.end_mm
    canvas.line(x0, y0, x1, y1)
    dx, dy = (_TICK_MM / 2, 0.0) if bar.name == "up" else (0.0, _TICK_MM / 2)
    for x, y in (bar.start_mm, bar.end_mm):
        canvas.line(x - dx, y - dy, x + dx, y + dy)
    label = f"{bar.length_mm:.0f} mm"
    canvas.saveState()
    canvas.translate(x1, y1)
    canvas.rotate(90 if bar.name == "up" else 0)
    _text(canvas, 1.5, -0.75, label, bold=True)
    canvas.restoreState()


def _draw_margin_text(canvas: Any, sheet: MarkerSheet) -> None:
    """Short reminders in the top and left margins, which the arch cut leaves on the sheet."""
    bar = sheet.bars[0]
    _text(
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
    canvas.setFont("Helvetica", _SMALL_PT / mm)
    canvas.drawRightString(0, -0.75, "keep flat and upright")
    canvas.restoreState()


def _text(
    canvas: Any, x: float, y: float, words: str, *, bold: bool = False, width_mm: float | None = None
) -> None:
    """Small print at (x, y) mm; made smaller where needed so that it ends before `width_mm`."""
    font = "Helvetica-Bold" if bold else "Helvetica"
    size = _SMALL_PT / mm
    if width_mm is not None:
        size = min(size, size * width_mm / canvas.stringWidth(words, font, size))
    canvas.setFillGray(0)
    canvas.setFont(font, size)
    canvas.drawString(x, y, words)


_INSTRUCTIONS: Final = """\
# Print
On {paper} paper, landscape, at 100 % ("actual size"), not "fit to page". Plain matt paper or thin card.
Measure the two bars with a steel rule, from the middle of one end tick to the middle of the
other: 150 mm across and 100 mm up. Give foldgauge what you read, to 0.1 mm if you can.
Glue the sheet to stiff flat board if it will not stay flat: a curled sheet measures wrong.
# Arch use (precise)
Cut along the solid line inside the window, then straight down from the window's two lower
corners, along the edge of the squares, to the dashed marks. The bottom band comes away.
Stand the arch on the table on its two legs, flush with the near end of the open dummy, so
that the near end shows through the opening. Put something dark behind.
# Backdrop use (quick)
Leave the sheet uncut. Stand it upright behind the open dummy, touching its far end.
Give foldgauge the length of the dummy along the spine (the standoff).
# Photograph
Look along the spine, 0.5-1.2 m away, 0-15 degrees above the table, the whole ring in view.
Soft light from the side, no flash. A sharp picture matters more than a bright one.
# Caution
A craft knife cuts fingers as easily as card: a sharp blade, a steel safety rule, a cutting mat
larger than the cut, the holding hand behind the blade and out of its line. Retract the blade
when you put it down. Where children take part, an adult cuts.
"""


def draw_instructions(canvas: Any, sheet: MarkerSheet) -> None:
    """Draw page 2."""
    x, y = 22 * mm, (sheet.paper_mm[1] - 22) * mm
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 16)
    canvas.drawString(x, y, f"foldgauge marker sheet, {paper_name(sheet)}")
    y -= 9 * mm
    for line in _INSTRUCTIONS.format(paper=paper_name(sheet)).splitlines():
        heading = line.startswith("# ")
        y -= 4 * mm if heading else 0
        canvas.setFont("Helvetica-Bold" if heading else "Helvetica", 12 if heading else 11)
        canvas.drawString(x, y, line.removeprefix("# "))
        y -= 5.5 * mm
