"""The page of the sheet's PDF that shows how to use it: three steps in pictures, then a few words."""

from typing import Any, Final

from reportlab.lib.units import mm

from capture.sheet.marker_sheet import MarkerSheet

Point = tuple[float, float]

_STEPS: Final = (
    (
        "1  Fold",
        "Cut out the window. Score the dashed line,",
        "fold the bottom part toward you, cut it at the tick.",
    ),
    (
        "2  Stand it on the page",
        "The arrow's point on the spine, the fold at the",
        "near ends. A coin on each half keeps it flat.",
    ),
    (
        "3  Ink the near ends",
        "Run a black felt pen along the near cut edges.",
        "Something light behind. Photograph.",
    ),
)

_WORDS: Final = """\
# Print
On {paper} paper, landscape, at 100 % ("actual size"), not "fit to page". Plain matt paper or thin card.
Measure the two bars with a steel rule, from the middle of one end tick to the middle of the other:
150 mm across, 100 mm up. Give foldgauge what you read, to 0.1 mm if you can.
Glue the upright part to stiff flat board if it will not stay flat.
# Photograph
Look along the spine, 0.5-1.2 m away, 5-15 degrees above the table, the whole ring and the part on the page
in view. Soft light from the side, no flash. A sharp picture matters more than a bright one.
# Without cutting (quick)
Leave the sheet uncut and stand it upright behind the dummy. Lay the doorstep (page 2) on the page, its far
edge against the near ends, the arrow's point on the spine. Without the doorstep, give foldgauge the length
of the dummy along the spine.
# Caution
A craft knife cuts fingers as easily as card: a sharp blade, a steel safety rule, a cutting mat larger than
the cut, the holding hand behind the blade and out of its line. Retract the blade when you put it down.
Where children take part, an adult cuts.
"""

_PICTURE_MM: Final = (74.0, 50.0)


def draw_instructions(canvas: Any, sheet: MarkerSheet) -> None:
    """Draw the page on a reportlab canvas whose page has the paper's size."""
    name = sheet.paper.upper() if sheet.paper.startswith("a") else sheet.paper
    left, top = 20 * mm, (sheet.paper_mm[1] - 18) * mm
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 15)
    canvas.drawString(left, top, f"foldgauge marker sheet, {name}: three steps")
    gap = (sheet.paper_mm[0] - 40 - 3 * _PICTURE_MM[0]) / 2
    for k, (title, *lines) in enumerate(_STEPS):
        x, y = left + k * (_PICTURE_MM[0] + gap) * mm, top - 8 * mm
        canvas.saveState()
        canvas.translate(x, y - _PICTURE_MM[1] * mm)
        canvas.scale(mm, mm)
        _PICTURES[k](canvas)
        canvas.restoreState()
        canvas.setFillGray(0)
        canvas.setFont("Helvetica-Bold", 12)
        canvas.drawString(x, y - (_PICTURE_MM[1] + 6) * mm, title)
        canvas.setFont("Helvetica", 9)
        for i, line in enumerate(lines):
            canvas.drawString(x, y - (_PICTURE_MM[1] + 11 + 4.2 * i) * mm, line)
    y = top - (_PICTURE_MM[1] + 28) * mm
    for line in _WORDS.format(paper=name).splitlines():
        heading = line.startswith("# ")
        y -= 1.8 * mm if heading else 0
        canvas.setFont("Helvetica-Bold" if heading else "Helvetica", 10 if heading else 9)
        canvas.drawString(left, y, line.removeprefix("# "))
        y -= 4.4 * mm


def _shape(
    canvas: Any, points: list[Point], fill: float | None, stroke: float = 0.0, width: float = 0.3
) -> None:
    """Draw a closed shape, mm."""
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.setStrokeGray(stroke)
    canvas.setLineWidth(width)
    if fill is not None:
        canvas.setFillGray(fill)
    canvas.drawPath(path, stroke=1, fill=0 if fill is None else 1)


def _line(canvas: Any, a: Point, b: Point, width: float = 0.3, grey: float = 0.0) -> None:
    canvas.setStrokeGray(grey)
    canvas.setLineWidth(width)
    canvas.line(*a, *b)


def _arch(canvas: Any) -> None:
    """Draw the upright part: a frame with squares, seen a little from above."""
    _shape(canvas, [(10, 16), (64, 16), (64, 48), (10, 48)], 0.97)
    for k in range(13):
        for y in (16 + 28, 16 + 25):
            if (k + int(y)) % 2 == 0 and 11 + 4 * k < 62:
                _shape(
                    canvas, [(11 + 4 * k, y), (15 + 4 * k, y), (15 + 4 * k, y + 3), (11 + 4 * k, y + 3)], 0.1
                )
    for k in range(7):
        for x in (11.0, 59.0):
            if k % 2 == 0:
                _shape(
                    canvas, [(x, 19 + 3 * k), (x + 4, 19 + 3 * k), (x + 4, 22 + 3 * k), (x, 22 + 3 * k)], 0.1
                )
    _shape(canvas, [(16, 16), (58, 16), (58, 40), (16, 40)], 1.0)


def _sill(canvas: Any) -> None:
    """Draw the two halves that lie on the page, with their pattern, the slit between them and the tick."""
    for turn in (-1, 1):

        def at(u: float, v: float, turn: int = turn) -> Point:
            return 37 + turn * u * (27 + 5 * v), 16 - 9 * v

        _shape(canvas, [at(0.02, 0), at(1, 0), at(1, 1), at(0.02, 1)], 0.98)
        for i in range(9):
            for j in range(3):
                if (i + j) % 2 == 0:
                    u, v = 0.12 + 0.09 * i, 0.12 + 0.24 * j
                    _shape(canvas, [at(u, v), at(u + 0.09, v), at(u + 0.09, v + 0.24), at(u, v + 0.24)], 0.1)
    _shape(canvas, [(37, 16), (36, 13), (38, 13)], 0.0)


def _dummy(canvas: Any, *, ink: bool) -> None:
    """Draw a parallel fold with a floating plane, seen end-on through the window."""
    width, grey = (1.1, 0.0) if ink else (0.7, 0.55)
    _line(canvas, (18, 16.4), (56, 16.4), width, grey)
    for a, b in (
        ((31, 16.4), (37, 29)),
        ((43, 16.4), (37, 29)),
        ((23, 29), (51, 29)),
        ((20, 16.4), (26, 29)),
        ((54, 16.4), (48, 29)),
    ):
        _line(canvas, a, b, width, grey)


def _fold(canvas: Any) -> None:
    _arch(canvas)
    _sill(canvas)
    _shape(canvas, [(4, 22), (4, 12), (2.6, 14), (4, 12), (5.4, 14), (4, 12)], None, 0.3, 0.5)


def _stand(canvas: Any) -> None:
    _shape(canvas, [(2, 2), (72, 2), (62, 30), (12, 30)], 0.92, 0.6)
    _line(canvas, (37, 2), (37, 30), 0.3, 0.6)
    _arch(canvas)
    _dummy(canvas, ink=False)
    _sill(canvas)
    canvas.setStrokeGray(0)
    canvas.setFillGray(0.8)
    for x in (20, 54):
        canvas.ellipse(x - 3, 9.5, x + 3, 12.5, stroke=1, fill=1)


def _ink(canvas: Any) -> None:
    _stand(canvas)
    _dummy(canvas, ink=True)
    _sill(canvas)
    canvas.saveState()
    canvas.translate(50.5, 22.5)
    canvas.rotate(40)
    _shape(canvas, [(0, 0), (2.5, 1), (2.5, -1)], 0.0)
    _shape(canvas, [(2.5, 1.6), (18, 1.6), (18, -1.6), (2.5, -1.6)], 0.75)
    canvas.restoreState()


_PICTURES: Final = (_fold, _stand, _ink)
