"""The photo with the measurement drawn in: what was found, what was meant, what is wrong.

Measured panels and joints in orange (solid), the design in sky blue (dashed) laid over it with its page line
on the measured one and its feet on the measured feet, faults in vermillion plates. The picture is cut to the
dummy and scaled so that it can be read on a phone.
"""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image

from capture.arrays import Pixels
from compare.tell.draw import photo_canvas as cv
from compare.tell.draw.photo_strokes import WIDTH, Strokes, frame_of, strokes_of
from compare.tell.result_files import ANNOTATED, png_mark, write_whole
from compare.tell.words.answer import answer
from compare.units import unit_of
from compare.verdict.conformity import Verdict

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


TEXT: Final = 27  # px, label text: 1.7 % of the width
HEAD_TEXT: Final = 44


def _draw(strokes: Strokes, picture: Pixels) -> None:
    """Draw the design below and the measurement above."""
    for _, points in strokes.design:
        cv.polyline(picture, points, cv.SKY, 3, dash=15)
    for _, points in strokes.measured:
        cv.polyline(picture, points, cv.ORANGE, 4)
    for _, points in strokes.faults:
        cv.polyline(picture, points, cv.VERMILLION, 7)
    for point in strokes.joints:
        cv.disc(picture, point, 7, cv.ORANGE)
    for point in strokes.by_hand:
        cv.square(picture, point, 10, cv.WHITE)


def _band(text: str, size: int, ground: cv.Colour, *, lines: int = 2) -> Pixels:
    """Return a band of the picture's width with text."""
    wrapped = "\n".join(textwrap.wrap(text, round(WIDTH / size * 1.9))[: lines + 1])
    _, h = cv.text_size(wrapped, size)
    band = np.full((round(h + size * 1.1), WIDTH, 3), ground, dtype=np.uint8)
    box = cv.Box(0, 0, WIDTH - 1, len(band) - 1)
    return cv.plate(band, box, wrapped, size, ink=cv.WHITE, ground=ground)


def _legend(inspection: "Inspection") -> Pixels:
    """Return the band that explains the marks."""
    band = np.full((64, WIDTH, 3), cv.DARK, dtype=np.uint8)
    x = 30.0
    for words, colour, dash, width in (
        ("measured", cv.ORANGE, 0.0, 5),
        ("design", cv.SKY, 15.0, 4),
        ("at fault", cv.VERMILLION, 0.0, 9),
    ):
        cv.polyline(band, np.array([[x, 32.0], [x + 90, 32.0]]), colour, width, dash=dash)
        w, _ = cv.text_size(words, TEXT)
        box = cv.Box(x + 105, 10, x + 105 + w, 54)
        band = cv.plate(band, box, words, TEXT, ink=cv.WHITE, ground=cv.DARK)
        x += 105 + w + 50
    if inspection.profile.by_hand:
        cv.square(band, np.array([x + 12, 32.0]), 10, cv.WHITE)
        w, _ = cv.text_size("by hand", TEXT)
        band = cv.plate(
            band, cv.Box(x + 36, 10, x + 36 + w, 54), "by hand", TEXT, ink=cv.WHITE, ground=cv.DARK
        )
        x += 36 + w + 50
    unit = unit_of(inspection.spec.units).name
    words = f"{unit}, ±U (k=2), (deviation)   {inspection.photo.name}"
    w, _ = cv.text_size(words, TEXT - 4)
    box = cv.Box(max(WIDTH - 30 - w, x), 10, WIDTH - 30, 54)
    return cv.plate(band, box, words, TEXT - 4, ink=cv.WHITE, ground=cv.DARK)


GROUND: Final = {Verdict.CONFORMS: (0, 110, 80), Verdict.FAILS: (165, 60, 0), Verdict.OPEN: (90, 90, 96)}


def annotated(inspection: "Inspection") -> Pixels:
    """Return the annotated photo, (H, 1600, 3) uint8 RGB."""
    frame = frame_of(inspection)
    picture = frame.cut(inspection.photo.bgr)
    strokes = strokes_of(inspection, frame)
    _draw(strokes, picture)
    pieces = [(p[0], p[-1]) for _, p in strokes.measured]
    placed = cv.place_labels(strokes.labels, TEXT, cv.Box(6, 6, WIDTH - 6, picture.shape[0] - 6), pieces)
    for p in placed:
        end = cv.nearest(p.box, p.label.at)
        cv.polyline(picture, np.array([p.label.at, end]), cv.VERMILLION if p.label.loud else cv.WHITE, 2)
    for p in placed:
        ground = cv.VERMILLION if p.label.loud else cv.DARK
        rim = cv.WHITE if p.label.loud else cv.GREY
        picture = cv.plate(picture, p.box, p.label.text, TEXT, ink=cv.WHITE, ground=ground, rim=rim)
    head = _band(answer(inspection.findings), HEAD_TEXT, GROUND[inspection.findings.verdict])
    return np.vstack([head, picture, _legend(inspection)])


def write_annotated(inspection: "Inspection", path: Path, *, replace: bool = False) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    image = Image.fromarray(annotated(inspection))
    write_whole(
        path,
        lambda temporary: image.save(temporary, format="PNG", pnginfo=png_mark(ANNOTATED)),
        ANNOTATED,
        replace=replace,
    )
