"""Drawing the apron on its page of the sheet's PDF."""

from typing import Any, Final

from reportlab.lib.units import mm

from capture.sheet.apron import APRON, APRON_OUTER_MM, BAND_MM, BOTTOM_MM, FLAP_MM, SQUARE_MM, TICK_MM
from capture.sheet.printed_marks import FIELD_GREY, LINE_MM, draw_checks, text

APRON_PAGE_Y_MM: Final = 40.0
"""Height of the fold line above the middle of the paper; the spine is in the middle across."""

_HOW_TO: Final = (
    "The apron shows foldgauge the page line, the spine and the plane of the near end. Print it with the "
    "sheet (same paper, 100 %), cut it out along the thin line.",
    "1. Score and fold the white flap back along the top of the dark band. 2. Glue or tape the flap UNDER "
    "the near edge of the base, fold flush with the edge, white tick at the spine.",
    "3. Raise the dummy on a book at least 32 mm thick, its near end flush with the front of the book: the "
    "apron hangs down in front of it. For a base that is not flat, cut the apron at the tick first.",
    "Caution: a craft knife cuts fingers as easily as card. Use a sharp blade, a steel safety rule and a "
    "cutting mat, the holding hand behind the blade. Where children take part, an adult cuts.",
)


def draw_apron(canvas: Any, paper_mm: tuple[float, float]) -> None:
    """Draw the page on a reportlab canvas whose page has this size."""
    canvas.saveState()
    canvas.translate(paper_mm[0] * mm / 2, paper_mm[1] * mm / 2 + APRON_PAGE_Y_MM * mm)
    canvas.scale(mm, mm)
    outer = APRON_OUTER_MM
    canvas.setFillGray(FIELD_GREY)
    canvas.rect(-outer, -BAND_MM, 2 * outer, BAND_MM, stroke=0, fill=1)
    canvas.setFillGray(1)
    canvas.rect(-TICK_MM / 2, -BAND_MM, TICK_MM, BAND_MM, stroke=0, fill=1)
    for half in APRON:
        draw_checks(canvas, half.black_squares, SQUARE_MM, half.tags)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(LINE_MM / 2)
    canvas.line(0, 0, 0, FLAP_MM)
    # The cut line runs just outside the strip, so that what is cut out has the strip's size.
    edge = LINE_MM / 4
    canvas.rect(-outer - edge, BOTTOM_MM - edge, 2 * (outer + edge), FLAP_MM - BOTTOM_MM + 2 * edge, fill=0)
    text(canvas, 3.0, FLAP_MM / 2 - 0.7, "flap: fold back, glue under the page; line = spine")
    for k, words in enumerate(_HOW_TO):
        text(canvas, -outer - 15, BOTTOM_MM - 12.0 - 4.0 * k, words, width_mm=2 * outer + 30)
    canvas.restoreState()
