"""The photo of the report: cut to the dummy, with the measurement as a vector drawing that can be zoomed."""

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
from markupsafe import Markup

from compare.tell.draw import photo_canvas as cv
from compare.tell.draw import svg
from compare.tell.draw.photo_strokes import frame_of, strokes_of

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


QUALITY: Final = 80  # JPEG; the picture is for looking at, all measuring was done in the original
LOUD_TEXT: Final = 36  # px of the 1600 px wide picture: legible on a phone without zooming
TEXT: Final = 24
MOST_LABELS: Final = 16  # more would hide the dummy; the tables tell all
WIDE_FONT: Final = 1.2  # plates are cut for the widest of the usual fonts


@dataclass(frozen=True, slots=True)
class PhotoFigure:
    """The embedded picture and what is drawn over it.

    Attributes
    ----------
    width, height : size, px.
    jpeg : base64 text of the picture.
    measured, design, faults, labels : layers of the drawing, in the picture's pixels.
    """

    width: int
    height: int
    jpeg: str
    measured: Markup
    design: Markup
    faults: Markup
    labels: Markup


def _plates(placed: list[cv.Placed]) -> Markup:
    """Return leaders and plates; loud ones on top."""
    parts: list[Markup] = []
    for p in placed:
        css = "loud" if p.label.loud else "calm"
        end = cv.nearest(p.box, p.label.at)
        parts.append(svg.line(np.array([p.label.at, end]), f"leader {css}"))
    for p in sorted(placed, key=lambda p: p.label.loud):
        css = "loud" if p.label.loud else "calm"
        size = LOUD_TEXT if p.label.loud else TEXT
        b = p.box
        parts.append(
            svg.element(
                "rect", x=b.x0, y=b.y0, width=b.x1 - b.x0, height=b.y1 - b.y0, rx=6.0, class_=f"plate {css}"
            )
        )
        rows = p.label.text.split("\n")
        top = (b.y0 + b.y1) / 2 - (len(rows) - 1) * size * 0.6 + size * 0.35
        for i, row in enumerate(rows):
            parts.append(
                svg.words(row, (b.x0 + b.x1) / 2, top + i * size * 1.2, f"plate {css}", anchor="middle")
            )
    return svg.together(parts)


def photo_figure(inspection: "Inspection") -> PhotoFigure:
    """Cut the photo to the dummy and draw what was measured, meant and wrong over it."""
    frame = frame_of(inspection)
    picture = frame.cut(inspection.photo.bgr)
    height, width = picture.shape[:2]
    ok, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    strokes = strokes_of(inspection, frame)
    room = cv.Box(6, 6, width - 6, height - 6)
    loud = [x for x in strokes.labels if x.loud]
    calm = [x for x in strokes.labels if not x.loud][: max(MOST_LABELS - len(loud), 0)]
    pieces = [(p[0], p[-1]) for _, p in strokes.measured]
    placed = cv.place_labels(loud, round(LOUD_TEXT * WIDE_FONT), room, pieces)
    placed += cv.place_labels(calm, round(TEXT * WIDE_FONT), room, pieces, [p.box for p in placed])
    dots = [svg.element("circle", cx=float(x), cy=float(y), r=6.0, class_="joint") for x, y in strokes.joints]
    return PhotoFigure(
        width=width,
        height=height,
        jpeg=base64.b64encode(data.tobytes()).decode("ascii"),
        measured=svg.together([*(svg.line(p, "measured", name) for name, p in strokes.measured), *dots]),
        design=svg.together(svg.line(p, "design", f"{name}, as designed") for name, p in strokes.design),
        faults=svg.together(svg.line(p, "fault", name) for name, p in strokes.faults),
        labels=_plates(placed),
    )
