"""Drawing the sill on its sheet, and the doorstep: pattern, tick, coins, and where to cut, score and fold."""

from typing import Any, Final

from capture.sheet.printed_marks import LINE_MM, SMALL_PT, draw_sill_part, text
from capture.sheet.sill import BESIDE_TICK_MM, COIN_MM, Sill, SillPart

_GUIDE_GREY: Final = 0.55
"""Grey of what only guides knife and coin: light, so that no mark is taken for it."""

_TICK_MM: Final = 2.6
"""Half width of the tick's arrow, whose point is the fold's middle."""

_POINT: Final = 2.8346
"""Points per mm."""


def draw_sill(canvas: Any, sill: Sill) -> None:
    """Draw a sill's pattern, its tick and its guides on a canvas in sheet mm."""
    for part in sill.parts:
        draw_sill_part(canvas, part)
        _draw_coin(canvas, part)
    _draw_tick(canvas, sill)


def _draw_coin(canvas: Any, part: SillPart) -> None:
    """Draw a dashed circle for the coin that holds the piece flat."""
    if part.coin_mm is None:
        return
    x, y = part.coin_mm
    canvas.setStrokeGray(_GUIDE_GREY)
    canvas.setLineWidth(LINE_MM)
    canvas.setDash(1.2, 1.2)
    canvas.circle(x, y, COIN_MM / 2, stroke=1, fill=0)
    canvas.setDash()
    canvas.setFillGray(_GUIDE_GREY)
    canvas.setFont("Helvetica", SMALL_PT / _POINT)
    canvas.drawCentredString(x, y - 0.8, "coin")


def _draw_tick(canvas: Any, sill: Sill) -> None:
    """Draw the cut between the halves, and an arrow whose point is set on the spine."""
    fold, low = sill.fold_mm, sill.fold_mm - sill.depth_mm
    canvas.setStrokeGray(0)
    canvas.setLineWidth(LINE_MM)
    canvas.line(0, fold, 0, low)
    canvas.setFillGray(0)
    arrow = canvas.beginPath()
    arrow.moveTo(0, fold)
    arrow.lineTo(-_TICK_MM, fold - 3 * _TICK_MM)
    arrow.lineTo(_TICK_MM, fold - 3 * _TICK_MM)
    arrow.close()
    canvas.drawPath(arrow, stroke=0, fill=1)
    assert _TICK_MM < BESIDE_TICK_MM


def draw_guides(canvas: Any, sill: Sill, *, window_mm: float) -> None:
    """Draw where to cut, score and fold, and say so below the pattern.

    `window_mm` is half the width of the window, whose lower cut is the fold line itself; right and left of it
    the fold is scored.
    """
    fold, outer = sill.fold_mm, sill.parts[1].span_mm[1]
    canvas.setLineWidth(LINE_MM)
    canvas.setStrokeGray(0)
    canvas.line(-window_mm, fold, window_mm, fold)
    canvas.setStrokeGray(_GUIDE_GREY)
    canvas.setDash(2.5, 1.5)
    for side in (-1, 1):
        canvas.line(side * outer, fold, side * window_mm, fold)
    canvas.setDash()
    low = fold - sill.depth_mm + 4.6
    text(
        canvas, BESIDE_TICK_MM, low, "cut along this line up to the arrow's point; set the point on the spine"
    )
    text(canvas, 12 - outer, low, "score along the dashes, fold toward you: this part lies on the page")
