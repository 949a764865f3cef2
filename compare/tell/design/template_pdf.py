"""The pieces of a dummy on paper at true size: cut lines, folds, glue marks, check bars, caution."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from reportlab.lib.units import mm

from capture.arrays import Array
from capture.sheet.sheet_pdf import write_pdf
from compare.compare_errors import OutputError
from compare.design.pieces.pattern import pieces_of, tab_of
from compare.design.pieces.pieces import BACK, EDGE, GLUE, MOUNTAIN, VALLEY, Piece, Seam
from compare.design.spec.spec import Spec
from compare.tell.design.assembly_page import draw_assembly
from compare.tell.design.template_layout import (
    BOLD,
    FONT,
    MARGIN,
    NAME_SIZE,
    NOTE_SIZE,
    NOTE_STEP,
    Page,
    Placed,
    pages_of,
    papers_of,
    wrapped,
)
from compare.tell.result_files import TEMPLATE
from compare.tell.words.cautions import CHILDREN, KNIFE
from compare.tell.words.cautions import GLUE as GLUE_CAUTION
from compare.units import Unit, unit_of

BAR_MM: Final = 100.0
CUT_MM, FOLD_MM = 0.25, 0.2
BAND_GREY: Final = 0.9
DASHES: Final[Mapping[str, tuple[float, ...]]] = {  # mm; mountain and valley as paper folders draw them
    "cut": (),
    MOUNTAIN: (4.0, 1.0, 0.5, 1.0),
    VALLEY: (2.5, 1.5),
    GLUE: (0.4, 1.2),
    BACK: (0.4, 2.4),
}
LINES: Final = (
    ("cut", "cut"),
    (MOUNTAIN, "mountain: score, fold away from you"),
    (VALLEY, "valley: score, fold towards you"),
    (GLUE, "glue here"),
    (BACK, "glued here on the other side"),
)
"""Every kind of line and what it means."""


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
    c.setLineWidth((CUT_MM if kind == "cut" else FOLD_MM) * mm)
    c.setDash([v * mm for v in DASHES[kind]])
    c.setStrokeGray(0.45 if kind == BACK else 0.0)


def _words_along(c: Any, seam: Seam, inside: Array | None) -> None:
    """Write a seam's words along it, beside the line; outside the piece if a point inside is given."""
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
    below = False
    if inside is not None:
        turn = np.radians(angle)
        to_inside = inside - np.add(seam.a, seam.b) / 2
        below = float(to_inside @ np.array([-np.sin(turn), np.cos(turn)])) > 0
    c.drawCentredString(0, -6.6 if below else 1.6, seam.name)
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
        if seam.kind != EDGE:
            _pen(c, seam.kind)
            _line(c, seam.a, seam.b)
        if seam.name:
            _words_along(c, seam, p.outline.mean(axis=0) if seam.kind == EDGE else None)
    h = p.size()[1]
    c.setDash()
    c.setFillGray(0.0)
    c.setFont(BOLD, NAME_SIZE)
    c.drawString(0, (h + 2.0 + NOTE_STEP * len(placed.note)) * mm, p.name)
    c.setFillGray(0.3)
    c.setFont(FONT, NOTE_SIZE)
    for i, line in enumerate(placed.note):
        c.drawString(0, (h + 1.6 + NOTE_STEP * (len(placed.note) - 1 - i)) * mm, line)
    c.restoreState()


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
    sizes = [(unit.plain(max(p.paper)), unit.plain(min(p.paper))) for p in pages if p.paper != paper]
    big = sorted({f"{long} x {short} {unit.name}" for long, short in sizes})
    lines = [
        "Cutting and gluing template at true size.",
        "Print at 100 % (actual size) and measure both bars with a steel rule: "
        f"{unit.words(bar)} from tick to tick.",
        f"Gluing tabs are {unit.words(tab_of(spec))} wide at most. Every length runs from fold to fold.",
        "Pages lie as the camera sees them: near end (towards the camera) at the bottom, left on the left.",
        *([f"Some pieces need larger paper: {', '.join(big)}."] if big else []),
        "",
        KNIFE,
        GLUE_CAUTION,
        CHILDREN,
    ]
    y -= 9
    for line in lines:
        for part in wrapped(line, (paper[0] - 2 * MARGIN) * mm, 9.5):
            c.drawString(x * mm, y * mm, part)
            y -= 5
    y -= 3
    used = {"cut", *(seam.kind for p in pieces for seam in p.seams)}
    for kind, words in LINES:
        if kind not in used:
            continue
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
    _bar(c, x, MARGIN + 2, bar, unit, up=False)
    _bar(c, paper[0] - MARGIN - 4, MARGIN + 2, bar, unit, up=True)


def write_template(path: Path, spec: Spec, *, replace: bool = False) -> None:
    """Write the pieces of a dummy at true size as a PDF: what it is, how it goes together, then the pieces.

    Raises
    ------
    OutputError, FoldgaugeError : a piece is larger than A0, or the file cannot be written.
    """
    check_template_name(path)
    pieces = pieces_of(spec)
    papers = papers_of(spec)
    pages = pages_of(pieces, papers, unit_of(spec.units))
    first = (papers[0][2], papers[0][1])
    unit = unit_of(spec.units)
    bar = 4 * unit.mm if spec.units == "in" else BAR_MM

    def draw(c: Any) -> None:
        _first_page(c, spec, pieces, pages, first)
        c.showPage()
        c.setPageSize((first[0] * mm, first[1] * mm))
        draw_assembly(c, spec, pieces, first)
        for i, page in enumerate(pages, start=3):
            c.showPage()
            c.setPageSize((page.paper[0] * mm, page.paper[1] * mm))
            for placed in page.placed:
                _draw_piece(c, placed)
            _bar(c, MARGIN, MARGIN - 4, bar, unit, up=False)
            c.setFont(FONT, 7)
            words = f"{spec.title or spec.source.name}: page {i} of {len(pages) + 2}. Print at 100 %."
            x = (MARGIN + bar + 6) * mm
            lines = [words, *wrapped(KNIFE, page.paper[0] * mm - x - MARGIN * mm, 7)]
            for k, line in enumerate(lines):
                c.drawString(x, (MARGIN - 1.5 - 3 * k) * mm, line)

    write_pdf(
        path, first, f"foldgauge template: {spec.title or spec.source.name}", draw, TEMPLATE, replace=replace
    )
