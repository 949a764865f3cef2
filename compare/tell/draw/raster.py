"""Marks drawn into pixels: on white, or on a photo.

OpenCV draws the lines (anti-aliased, sub-pixel), Pillow the text (its built-in scalable font, so that a
picture looks the same on every machine). Words and plates lie over everything else.
"""

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from capture.arrays import Array, Pixels
from compare.tell.draw.marks import SPACING, Bar, Diamond, Dot, Line, Mark, Plate, Sketch, Words
from compare.tell.draw.palette import DARK, WHITE, Colour

SHIFT: Final = 4  # OpenCV draws at 1/16 pixel
LONGEST: Final = 2.0**15  # px; more overflows its coordinates


def image_of(sketch: Sketch, scale: float = 1.0) -> Image.Image:
    """Return a sketch as an RGB image, `scale` pixels a picture unit."""
    size = (round(sketch.height * scale), round(sketch.width * scale), 3)
    return Image.fromarray(painted(np.full(size, WHITE, dtype=np.uint8), sketch.marks, scale))


def painted(picture: Pixels, marks: Sequence[Mark], scale: float = 1.0) -> Pixels:
    """Return a copy of an RGB picture with marks drawn on it."""
    out = picture.copy()
    texts: list[Words | Plate] = []
    for m in marks:
        if isinstance(m, Words | Plate):
            texts.append(m)
        else:
            _stroke(out, m, scale)
    if not texts:
        return out
    image = Image.fromarray(out)
    draw = ImageDraw.Draw(image)
    for text in texts:
        _write(draw, text, scale)
    return np.array(image, dtype=np.uint8)


def _stroke(picture: Pixels, m: Line | Dot | Diamond | Bar, k: float) -> None:
    if isinstance(m, Line):
        pieces = dashes(m.points * k, m.pen.dash * k)
        width = m.pen.width * k
        shades = [(DARK, width * 1.5 + 2)] if m.pen.halo else []
        for shade, w in (*shades, (m.pen.colour, width)):
            lines = [_fixed(p) for p in pieces if len(p) > 1]
            cv2.polylines(picture, lines, False, shade, max(round(w), 1), cv2.LINE_AA, SHIFT)
    elif isinstance(m, Bar):
        corners = np.array([[m.x, m.y], [m.x + m.width, m.y + m.height]]) * k
        (x0, y0), (x1, y1) = np.round(corners).astype(int)
        picture[max(y0, 0) : y1, max(x0, 0) : x1] = m.colour
    else:
        centre = np.array([m.x, m.y]) * k
        _solid(picture, centre, m.radius * k, m.colour, m)


def _solid(picture: Pixels, centre: Array, radius: float, colour: Colour, m: Dot | Diamond) -> None:
    """Draw a filled circle or diamond, its dark rim first."""
    rimmed = isinstance(m, Diamond) or m.rim
    for shade, r in (*(((DARK, radius + 2),) if rimmed else ()), (colour, radius)):
        if isinstance(m, Diamond):
            corners = centre + r * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
            cv2.fillPoly(picture, [_fixed(corners)], shade, cv2.LINE_AA, SHIFT)
        else:
            x, y = (int(v) for v in np.round(centre * 2**SHIFT))
            cv2.circle(picture, (x, y), round(r * 2**SHIFT), shade, -1, cv2.LINE_AA, SHIFT)


def _fixed(points: Array) -> "np.ndarray[tuple[int, ...], np.dtype[np.int32]]":
    """Return points as OpenCV draws them, in 1/16 px."""
    near = np.clip(points, -LONGEST, LONGEST)
    return np.round(near * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)


def dashes(points: Array, dash: float) -> list[Array]:
    """Return the pieces of a line that a dashed pen draws; the whole line, without nan, if `dash` is 0."""
    good = points[np.isfinite(points).all(axis=1)]
    if dash <= 0 or len(good) < 2:
        return [good]
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(good, axis=0).T))])
    count = max(round(s[-1] / dash), 1)
    count += 1 - count % 2  # odd: begins and ends with ink
    cuts = np.linspace(0.0, s[-1], count + 1)
    out = []
    for first, last in zip(cuts[::2], cuts[1::2], strict=True):
        at = np.concatenate([[first], s[(s > first) & (s < last)], [last]])
        out.append(np.stack([np.interp(at, s, good[:, i]) for i in (0, 1)], axis=1))
    return out


def _write(draw: ImageDraw.ImageDraw, m: Words | Plate, k: float) -> None:
    font = ImageFont.load_default(m.size * k)
    if isinstance(m, Words):
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[m.anchor]
        draw.text((m.x * k, m.y * k), m.text, fill=m.colour, font=font, anchor=anchor)
        return
    b, size = m.box, m.size * k
    corner = (b.y1 - b.y0) * k / 2 if m.round else size * 0.3
    width = max(round(size / 9), 2) if m.rim == WHITE else 1
    draw.rounded_rectangle(
        (b.x0 * k, b.y0 * k, b.x1 * k, b.y1 * k),
        corner,
        fill=m.ground,
        outline=m.rim,
        width=width if m.rim else 0,
    )
    middle = ((b.x0 + b.x1) / 2 * k, (b.y0 + b.y1) / 2 * k)
    draw.multiline_text(
        middle, m.text, fill=m.ink, font=font, anchor="mm", align="center", spacing=size * SPACING
    )
