"""The pieces of a dummy on paper at true size: cut lines, folds, glue marks, check bars, caution."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from capture.sheet.sheet_pdf import write_pdf
from compare.compare_errors import OutputError
from compare.design.pieces.pattern import pieces_of, tab_of
from compare.design.pieces.pieces import GLUE, MOUNTAIN, Piece, Seam
from compare.design.spec.spec import Spec
from compare.tell.design.template_layout import MARGIN, Page, Placed, pages_of, papers_of
from compare.tell.words.cautions import CHILDREN, KNIFE
from compare.units import Unit, unit_of
from measure.layout import Role

BAR_MM: Final = 100.0
FONT, BOLD = "Helvetica", "Helvetica-Bold"
CUT_MM, FOLD_MM = 0.25, 0.2
BAND_GREY: Final = 0.9
NOTE_HEIGHT: Final = 0.8  # of a piece: clear of the words along its lines


def check_template_name(path: Path) -> None:
    """Refuse a file name that is not of a PDF.

    Raises
    ------
    OutputError : another kind of file.
    """
    if path.suffix.lower() != ".pdf":
        raise OutputError(f"cannot write {path.name}: a template is a .pdf file")


def _line(c: Any, a: tuple[float, float], b: tuple[float, float]) -> None:
    c.line(a[0] * mm, a[1] * mm, b[0] * mm, b[1] * mm)


def _shape(c: Any, xy: Any, *, fill: bool) -> None:
    path = c.beginPath()
    path.moveTo(float(xy[0][0]) * mm, float(xy[0][1]) * mm)
    for x, y in xy[1:]:
        path.lineTo(float(x) * mm, float(y) * mm)
    path.close()
    c.drawPath(path, stroke=0 if fill else 1, fill=1 if fill else 0)


def _pen(c: Any, kind: str) -> None:
    """Set the pen for a kind of line; "cut" is solid."""
    c.setStrokeGray(0.0)
    c.setLineWidth((CUT_MM if kind == "cut" else FOLD_MM) * mm)
    dash = {"cut": (), MOUNTAIN: (3 * mm, 1.5 * mm), GLUE: (0.4 * mm, 1.2 * mm)}[kind]
    c.setDash(*(dash if len(dash) == 0 else (list(dash),)))


def _words_along(c: Any, seam: Seam) -> None:
    """Write a seam's words along it, just beside the line."""
    way = np.subtract(seam.b, seam.a)
    angle = float(np.degrees(np.arctan2(way[1], way[0])))
    if angle > 90 or angle <= -90:
        angle += 180
    middle = (np.add(seam.a, seam.b) / 2) * mm
    c.saveState()
    c.translate(float(middle[0]), float(middle[1]))
    c.rotate(angle)
    c.setFillGray(0.25)
    c.setFont(FONT, 6.5)
    c.drawCentredString(0, 1.6, seam.words)
    c.restoreState()


def _draw_piece(c: Any, placed: Placed) -> None:
    p = placed.piece
    c.saveState()
    c.translate(placed.x * mm, placed.y * mm)
    c.setFillGray(BAND_GREY)
    for band in p.bands:
        _shape(c, band, fill=True)
    _pen(c, "cut")
    _shape(c, p.outline, fill=False)
    for seam in p.seams:
        _pen(c, seam.kind)
        _line(c, seam.a, seam.b)
        if seam.words:
            _words_along(c, seam)
    w, h = p.size()
    c.setDash()
    c.setFillGray(0.0)
    c.setFont(BOLD, 8)
    c.drawString(0, (h + 2.0) * mm, p.name)
    if p.note:
        start = stringWidth(p.name, BOLD, 8) + 6
        _note(c, p.note, start, w, h)
    c.restoreState()


def _note(c: Any, note: str, start: float, w: float, h: float) -> None:
    """Write a note beside the name if there is room, else inside the piece, in lines."""
    c.setFillGray(0.3)
    c.setFont(FONT, 6.5)
    if start + stringWidth(note, FONT, 6.5) <= w * mm:
        c.drawString(start, (h + 2.0) * mm, note)
        return
    room, lines = max(w - 6.0, 18.0) * mm, [""]
    for word in note.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and stringWidth(longer, FONT, 6.5) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    for i, line in enumerate(lines):
        c.drawCentredString(w * mm / 2, NOTE_HEIGHT * h * mm + (len(lines) / 2 - i) * 8 - 8, line)


def _bar(c: Any, x: float, y: float, length: float, unit: Unit, *, up: bool) -> None:
    """Draw a check bar of a length in mm from tick to tick."""
    c.saveState()
    c.translate(x * mm, y * mm)
    if up:
        c.rotate(90)
    c.setDash()
    c.setStrokeGray(0.0)
    c.setLineWidth(0.2 * mm)
    _line(c, (0, 0), (length, 0))
    for t in (0.0, length):
        _line(c, (t, -2.0), (t, 2.0))
    c.setFillGray(0.0)
    c.setFont(FONT, 7)
    c.drawCentredString(length * mm / 2, 1.2 * mm, f"{length / unit.mm:g} {unit.name} from tick to tick")
    c.restoreState()


def _first_page(
    c: Any, spec: Spec, pieces: Sequence[Piece], pages: Sequence[Page], paper: tuple[float, float]
) -> None:
    """Draw what it is, how to print it, what the lines mean, and the list of pieces."""
    unit = unit_of(spec.units)
    bar = 4 * unit.mm if spec.units == "in" else BAR_MM
    x, y = MARGIN, paper[1] - MARGIN - 6
    c.setFillGray(0.0)
    c.setFont(BOLD, 15)
    c.drawString(x * mm, y * mm, spec.title or spec.source.name)
    c.setFont(FONT, 9.5)
    big = sorted({f"{max(p.paper):g} x {min(p.paper):g} mm" for p in pages if p.paper != paper})
    lines = [
        "Cutting and gluing template at true size.",
        "Print at 100 % (actual size) and measure both bars with a steel rule: "
        f"{unit.words(bar)} from tick to tick.",
        f"Gluing tabs are {unit.words(tab_of(spec))} wide, fold away from you and point towards the spine.",
        "Every length runs from fold to fold. The near end is the end towards the camera.",
        *([f"Some pieces need larger paper: {', '.join(big)}."] if big else []),
        "",
        KNIFE,
        CHILDREN,
    ]
    y -= 9
    for line in lines:
        for part in _wrapped(line, (paper[0] - 2 * MARGIN) * mm, 9.5):
            c.drawString(x * mm, y * mm, part)
            y -= 5
    y -= 3
    for kind, words in (
        ("cut", "cut"),
        (MOUNTAIN, "fold away from you (mountain), score first"),
        (GLUE, "glue here"),
    ):
        _pen(c, kind)
        _line(c, (x, y + 1), (x + 18, y + 1))
        c.setDash()
        c.drawString((x + 22) * mm, y * mm, words)
        y -= 5.5
    c.setFillGray(BAND_GREY)
    c.rect(x * mm, y * mm, 18 * mm, 3.2 * mm, stroke=0, fill=1)
    c.setFillGray(0.0)
    c.drawString((x + 22) * mm, y * mm, "gluing tab, or the place of one")
    y -= 9
    c.setFont(BOLD, 9.5)
    c.drawString(x * mm, y * mm, f"Pieces ({len(pieces)})")
    c.setFont(FONT, 8.5)
    columns = 3
    rows = -(-len(pieces) // columns)
    for i, p in enumerate(pieces):
        w, h = p.size()
        column, row = divmod(i, rows)
        words = f"{p.name}: {unit.number(w)} x {unit.number(h)} {unit.name}"
        c.drawString((x + column * 88) * mm, (y - 5 - 4.6 * row) * mm, words)
    _assembled(
        c, spec, (x + BAR_MM + 14, MARGIN + 8, paper[0] - 2 * MARGIN - BAR_MM - 40, y - rows * 4.6 - 34)
    )
    _bar(c, x, MARGIN + 2, bar, unit, up=False)
    _bar(c, paper[0] - MARGIN - 4, MARGIN + 2, bar, unit, up=True)


def _assembled(c: Any, spec: Spec, box: tuple[float, float, float, float]) -> None:
    """Draw the dummy end-on at its opening in a box (x, y, width, height in mm), not to scale."""
    pose = spec.mechanism.solve({}, np.radians(spec.base.opening_deg))
    xy = np.array(list(pose.joints.values()))
    low, high = xy.min(axis=0), xy.max(axis=0)
    x, y, wide, tall = box
    k = min(wide / float(high[0] - low[0]), tall / float(high[1] - low[1]), 1.0)
    if k < 0.2:
        return
    middle = x + wide / 2 - k * float(low[0] + high[0]) / 2

    def at(joint: str) -> tuple[float, float]:
        p = pose.joints[joint]
        return middle + k * float(p[0]), y + k * float(p[1] - low[1])

    c.setDash()
    c.setStrokeGray(0.0)
    for panel in spec.mechanism.panels:
        c.setLineWidth((0.7 if panel.role is Role.PAGE else 0.4) * mm)
        _line(c, at(panel.joints[0]), at(panel.joints[-1]))
    c.setFont(FONT, 7)
    words = f"put together, seen end-on at {spec.base.opening_deg:g} degrees"
    c.drawCentredString((x + wide / 2) * mm, (y - 5) * mm, words + ("" if k == 1.0 else f", 1 : {1 / k:.1f}"))


def _wrapped(text: str, width: float, size: float) -> list[str]:
    """Break a line of text to a width in points."""
    out = [""]
    for word in text.split():
        longer = f"{out[-1]} {word}".strip()
        if out[-1] and stringWidth(longer, FONT, size) > width:
            out.append(word)
        else:
            out[-1] = longer
    return out


def write_template(path: Path, spec: Spec) -> None:
    """Write the pieces of a dummy at true size as a PDF: a page of instructions, then the pieces.

    Raises
    ------
    OutputError, FoldgaugeError : a piece is larger than A0, or the file cannot be written.
    """
    check_template_name(path)
    pieces = pieces_of(spec)
    papers = papers_of(spec)
    pages = pages_of(pieces, papers)
    first = (papers[0][2], papers[0][1])
    unit = unit_of(spec.units)
    bar = 4 * unit.mm if spec.units == "in" else BAR_MM

    def draw(c: Any) -> None:
        _first_page(c, spec, pieces, pages, first)
        for i, page in enumerate(pages, start=2):
            c.showPage()
            c.setPageSize((page.paper[0] * mm, page.paper[1] * mm))
            for placed in page.placed:
                _draw_piece(c, placed)
            _bar(c, MARGIN, MARGIN - 4, bar, unit, up=False)
            c.setFont(FONT, 7)
            words = f"{spec.title or spec.source.name}: page {i} of {len(pages) + 1}. Print at 100 %."
            x = (MARGIN + bar + 6) * mm
            lines = [words, *_wrapped(KNIFE, page.paper[0] * mm - x - MARGIN * mm, 7)]
            for k, line in enumerate(lines):
                c.drawString(x, (MARGIN - 1.5 - 3 * k) * mm, line)

    write_pdf(path, first, f"foldgauge template: {spec.title or spec.source.name}", draw)
