"""One page that shows how a dummy goes together: numbered steps, and a drawing with their numbers."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from reportlab.lib.units import mm

from capture.arrays import Array
from compare.design.pieces.pieces import Piece
from compare.design.spec.spec import Spec
from compare.tell.design.assembly_steps import Step, steps_of
from compare.tell.design.template_layout import BOLD, FONT, MARGIN, wrapped
from compare.tell.words.cautions import CHILDREN, GLUE, KNIFE
from measure.layout import Role

TEXT_SIZE: Final = 9.0  # points
LINE_MM: Final = 4.4
DISC_MM: Final = 2.3  # radius of a step's number in the drawing
STEPS_WIDTH: Final = 118.0  # mm
LEAST_SCALE: Final = 0.15  # smaller, a drawing shows nothing
APART_MM: Final = 5.0  # between two numbers


def draw_assembly(c: Any, spec: Spec, pieces: Sequence[Piece], paper: tuple[float, float]) -> None:
    """Draw the page on a canvas; `paper` is its width and height, mm."""
    c.setFillGray(0.0)
    c.setFont(BOLD, 15)
    top = paper[1] - MARGIN - 6
    c.drawString(MARGIN * mm, top * mm, "How it goes together")
    steps = steps_of(spec, pieces)
    y = top - 9
    for number, step in enumerate(steps, start=1):
        _disc(c, MARGIN + DISC_MM, y + 1.1, number)
        c.setFont(FONT, TEXT_SIZE)
        for line in wrapped(step.text, (STEPS_WIDTH - 8) * mm, TEXT_SIZE):
            c.drawString((MARGIN + 7) * mm, y * mm, line)
            y -= LINE_MM
        y -= 1.6
    y = MARGIN + 20.0
    for text in (KNIFE, GLUE, CHILDREN):
        for line in wrapped(text, (paper[0] - 2 * MARGIN) * mm, 8):
            c.setFont(FONT, 8)
            c.drawString(MARGIN * mm, y * mm, line)
            y -= 3.6
    left = MARGIN + STEPS_WIDTH + 8
    _drawing(c, spec, steps, (left, MARGIN + 42, paper[0] - MARGIN - left, top - MARGIN - 56))


def _disc(c: Any, x: float, y: float, number: int) -> None:
    """Draw a number in a circle, mm."""
    c.setDash()
    c.setStrokeGray(0.0)
    c.setLineWidth(0.2 * mm)
    c.setFillGray(1.0)
    c.circle(x * mm, y * mm, DISC_MM * mm, stroke=1, fill=1)
    c.setFillGray(0.0)
    c.setFont(BOLD, 7.5)
    c.drawCentredString(x * mm, (y - 0.95) * mm, str(number))


def _drawing(c: Any, spec: Spec, steps: Sequence[Step], box: tuple[float, float, float, float]) -> None:
    """Draw the dummy end-on at its opening in a box (x, y, width, height in mm), parts by their steps."""
    pose = spec.mechanism.solve({}, spec.opening)
    xy = np.array([*pose.joints.values(), *(v[..., :2] for v in pose.points.values())])
    low, high = xy.min(axis=0), xy.max(axis=0)
    x, y, wide, tall = box
    k = min(wide / float(high[0] - low[0]), tall / float(high[1] - low[1]), 1.0)
    if k < LEAST_SCALE:
        return
    middle = x + wide / 2 - k * float(low[0] + high[0]) / 2
    foot = y + max(0.0, (tall - k * float(high[1] - low[1])) / 2)

    def spot(p: Array) -> tuple[float, float]:
        return middle + k * float(p[0]), foot + k * float(p[1] - low[1])

    def line(a: Array, b: Array) -> None:
        (x1, y1), (x2, y2) = spot(a), spot(b)
        c.line(x1 * mm, y1 * mm, x2 * mm, y2 * mm)

    c.setDash()
    c.setStrokeGray(0.0)
    c.setLineWidth(0.25 * mm)
    for outline in spec.mechanism.outlines:  # what no panel shows end-on: V-folds and pillars
        for one, other in zip(outline, outline[1:], strict=False):
            line(pose.points[one], pose.points[other])
    ends = {p.name: (pose.joints[p.joints[0]], pose.joints[p.joints[-1]]) for p in spec.mechanism.panels}
    for panel in spec.mechanism.panels:
        c.setLineWidth((0.8 if panel.role is Role.PAGE else 0.45) * mm)
        line(*ends[panel.name])
    marked: list[tuple[float, float]] = []
    for number, step in enumerate(steps, start=1):
        for name in step.panels:
            _number(c, number, spot(ends[name][0]), spot(ends[name][1]), middle, marked)
        for first, last in step.lines:
            _number(c, number, spot(pose.points[first]), spot(pose.points[last]), middle, marked)
    c.setFont(FONT, 8)
    said = f"seen from the near end, open {spec.base.opening_deg:g} degrees"
    scale = "" if k == 1.0 else f", 1 : {1 / k:.1f}"
    c.drawCentredString((x + wide / 2) * mm, (foot - 7) * mm, said + scale)


def _number(
    c: Any,
    number: int,
    a: tuple[float, float],
    b: tuple[float, float],
    middle: float,
    marked: list[tuple[float, float]],
) -> None:
    """Put a step's number on the line from a to b where there is room, else beside it, and remember it."""

    def free(x: float, y: float) -> bool:
        return all(np.hypot(x - p, y - q) > APART_MM for p, q in marked)

    for share in (0.5, 0.35, 0.65, 0.2, 0.8):
        x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
        if free(x, y):
            break
    else:
        x0, y0 = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
        way = 1.0 if x0 >= middle else -1.0
        x, y = next(
            (
                (x0 + way * out, y0 + up)
                for out in (8, 14, 20)
                for up in (0, 6, -6)
                if free(x0 + way * out, y0 + up)
            ),
            (x0 + way * 26, y0),
        )
        c.setLineWidth(0.15 * mm)
        c.line(x0 * mm, y0 * mm, x * mm, y * mm)
    marked.append((x, y))
    _disc(c, x, y, number)
