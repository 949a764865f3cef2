"""Marks drawn on a reportlab canvas: checkerboard squares with tags, check bars, small print.

The canvas is scaled to millimetres.
"""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from reportlab.lib.units import mm

from capture.arrays import Array
from capture.sheet.marker_sheet import TAG_MODULES, CheckBar
from capture.sheet.sill import SillPart
from capture.sight.tags import tag_bits, white_modules

FIELD_GREY: Final = 0.11
"""Grey of the dark field (0 black, 1 white): dark behind white card, yet saving some ink."""

LINE_MM: Final = 0.25
SMALL_PT: Final = 6.0
_TICK_MM: Final = 2.0


def draw_checks(canvas: Any, black_squares: Array, square_mm: float, tags: Mapping[int, Array]) -> None:
    """Black squares as one path and each tag's white modules as one path: no hairlines between neighbours."""
    canvas.setFillGray(0)
    squares = canvas.beginPath()
    for x, y in black_squares:
        squares.rect(x, y, square_mm, square_mm)
    for corners in tags.values():
        side = corners[1, 0] - corners[0, 0]
        squares.rect(corners[3, 0], corners[3, 1], side, side)
    canvas.drawPath(squares, stroke=0, fill=1)
    canvas.setFillGray(1)
    for tag_id, corners in tags.items():
        white = canvas.beginPath()
        for x, y, module in white_modules(tag_id, corners):
            white.rect(x, y, module, module)
        canvas.drawPath(white, stroke=0, fill=1)


def draw_sill_part(canvas: Any, part: SillPart) -> None:
    """Black cells as one path; each tag stretched along the depth, its white modules as one path."""
    canvas.setFillGray(0)
    dark = canvas.beginPath()
    for x, y in part.black_cells:
        dark.rect(x, y, *part.cell_mm)
    for corners in part.tags.values():
        dark.rect(*corners[3], *(corners[1] - corners[3]))
    canvas.drawPath(dark, stroke=0, fill=1)
    canvas.setFillGray(1)
    for tag_id, corners in part.tags.items():
        white = canvas.beginPath()
        width, depth = (corners[1] - corners[3]) / TAG_MODULES
        for row, col in np.argwhere(tag_bits(tag_id)):
            white.rect(corners[0, 0] + col * width, corners[0, 1] - (row + 1) * depth, width, depth)
        canvas.drawPath(white, stroke=0, fill=1)


def draw_bar(canvas: Any, bar: CheckBar) -> None:
    """Draw a thin line between two ticks, and its length beside it."""
    canvas.setStrokeGray(0.0)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(LINE_MM)
    (x0, y0), (x1, y1) = bar.start_mm, bar.end_mm
    canvas.line(x0, y0, x1, y1)
    dx, dy = (_TICK_MM / 2, 0.0) if bar.name == "up" else (0.0, _TICK_MM / 2)
    for x, y in (bar.start_mm, bar.end_mm):
        canvas.line(x - dx, y - dy, x + dx, y + dy)
    label = f"{bar.length_mm:.0f} mm"
    canvas.saveState()
    canvas.translate(x1, y1)
    canvas.rotate(90 if bar.name == "up" else 0)
    text(canvas, 1.5, -0.75, label, bold=True)
    canvas.restoreState()


def text(
    canvas: Any, x: float, y: float, words: str, *, bold: bool = False, width_mm: float | None = None
) -> None:
    """Small print at (x, y) mm; made smaller where needed so that it ends before `width_mm`."""
    font = "Helvetica-Bold" if bold else "Helvetica"
    size = SMALL_PT / mm
    if width_mm is not None:
        size = min(size, size * width_mm / canvas.stringWidth(words, font, size))
    canvas.setFillGray(0)
    canvas.setFont(font, size)
    canvas.drawString(x, y, words)
