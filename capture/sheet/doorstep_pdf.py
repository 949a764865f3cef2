"""Drawing the doorstep on its page of the sheet's PDF, above the apron."""

from typing import Any, Final

from reportlab.lib.units import mm

from capture.sheet.printed_marks import LINE_MM, text
from capture.sheet.sill import BESIDE_TICK_MM, DOORSTEP
from capture.sheet.sill_pdf import draw_sill

DOORSTEP_TOP_MM: Final = 9.0
"""From the paper's upper edge to the doorstep's far edge."""


def draw_doorstep(canvas: Any, paper_mm: tuple[float, float]) -> None:
    """Draw the doorstep on a reportlab canvas whose page has this size; the spine in the middle across."""
    canvas.saveState()
    canvas.translate(paper_mm[0] * mm / 2, (paper_mm[1] - DOORSTEP_TOP_MM) * mm)
    canvas.scale(mm, mm)
    draw_sill(canvas, DOORSTEP)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(LINE_MM / 2)
    left, right = DOORSTEP.parts[0].span_mm[0], DOORSTEP.parts[1].span_mm[1]
    edge = LINE_MM / 4  # the cut line runs just outside, so that what is cut out has the strip's size
    low = -DOORSTEP.depth_mm
    canvas.rect(left - edge, low - edge, right - left + 2 * edge, -low + 2 * edge, stroke=1, fill=0)
    text(
        canvas,
        BESIDE_TICK_MM,
        low + 1.0,
        "doorstep: far edge against the near ends, arrow's point on the spine; cut along the middle line",
    )
    canvas.restoreState()
