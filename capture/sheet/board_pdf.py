"""Drawing the calibration board."""

from typing import Any

from reportlab.lib.units import mm

from capture.sheet.board import BOARD
from capture.sheet.printed_marks import draw_checks, text


def draw_board(canvas: Any, paper_mm: tuple[float, float], enlarged: float) -> None:
    """Draw the board in the middle of a page of this size, `enlarged` times its nominal size."""
    canvas.saveState()
    canvas.translate(paper_mm[0] * mm / 2, paper_mm[1] * mm / 2)
    canvas.scale(enlarged * mm, enlarged * mm)
    draw_checks(canvas, BOARD.black_squares, BOARD.square_mm, BOARD.tags)
    left, bottom, right, _ = BOARD.ring
    text(
        canvas,
        left,
        bottom - 4.0,
        "foldgauge calibration board - glue it flat on stiff board, or lay it on a flat table; 8 to 15 "
        "photos: square on, tilted four ways, turned upright, near every corner of the picture",
        width_mm=right - left,
    )
    canvas.restoreState()
