"""The photo of the report: cut to the dummy, with the measurement as a vector drawing that can be zoomed."""

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
from markupsafe import Markup

from compare.tell.check.annotated_photo import listed_words, pens_told
from compare.tell.check.photo_marks import frame_of, marks_of
from compare.tell.draw import svg
from compare.tell.draw.marks import Line
from compare.units import unit_of

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


SWATCH: Final = np.array([[4.0, 10.0], [86.0, 10.0]])
ON_SCREEN: Final = 0.6  # px of the screen a line is wide, of those of the picture
QUALITY: Final = 80  # JPEG; the picture is for looking at, all measuring was done in the original


@dataclass(frozen=True, slots=True)
class PhotoFigure:
    """The embedded picture and what is drawn over it.

    Attributes
    ----------
    width, height : size, px.
    jpeg : base64 text of the picture.
    measured, design, faults, labels : layers of the drawing, in the picture's pixels.
    listed : what the numbers in it stand for: number, words, whether it is at fault.
    key : what its lines mean: a piece of each, and words.
    """

    width: int
    height: int
    jpeg: str
    measured: Markup
    design: Markup
    faults: Markup
    labels: Markup
    listed: tuple[tuple[int, str, bool], ...]
    key: tuple[tuple[Markup, str], ...]


def photo_figure(inspection: "Inspection") -> PhotoFigure:
    """Cut the photo to the dummy and draw what was measured, meant and wrong over it."""
    frame = frame_of(inspection)
    picture = frame.cut(inspection.photo.bgr)
    height, width = picture.shape[:2]
    ok, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    drawn = marks_of(inspection, frame, height)
    unit = unit_of(inspection.spec.units)
    layers = (drawn.measured, drawn.design, drawn.faults, drawn.labels)
    measured, design, faults, labels = (svg.drawn(layer, on_screen=ON_SCREEN) for layer in layers)
    return PhotoFigure(
        width=width,
        height=height,
        jpeg=base64.b64encode(data.tobytes()).decode("ascii"),
        measured=measured,
        design=design,
        faults=faults,
        labels=labels,
        listed=tuple((x.number, listed_words(x, unit), x.loud) for x in drawn.listed),
        key=tuple(
            (svg.drawn([Line(SWATCH, pen)], on_screen=ON_SCREEN), words)
            for words, pen in pens_told(inspection.verdict, faults=bool(drawn.faults))
        ),
    )
