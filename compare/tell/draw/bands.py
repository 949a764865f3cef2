"""Bands above and below a photo: the headline, the legend, the list of what the numbers stand for."""

import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np

from capture.arrays import Pixels
from compare.tell.draw.marks import Box, Diamond, Line, Mark, Plate, Words, text_size
from compare.tell.draw.palette import (
    CALM_TEXT,
    DARK,
    GREY,
    HAND,
    HEAD_TEXT,
    PHOTO_WIDTH,
    VERMILLION,
    WHITE,
    Colour,
    Pen,
)
from compare.tell.draw.raster import painted

MOST_LINES: Final = 3
EDGE: Final = 30.0  # px, left and right
ROW: Final = 46.0
LEGEND: Final = 64
SWATCH: Final = 90.0
Row = tuple[str, str, bool]
"""Number, words and whether it is at fault."""


def _ground(height: int, colour: Colour) -> Pixels:
    return np.full((height, PHOTO_WIDTH, 3), colour, dtype=np.uint8)


def headline_band(text: str, ground: Colour) -> Pixels:
    """Return the band above a picture."""
    wrapped = "\n".join(textwrap.wrap(text, round(PHOTO_WIDTH / HEAD_TEXT * 1.9))[:MOST_LINES])
    band = _ground(round(text_size(wrapped, HEAD_TEXT)[1] + HEAD_TEXT * 1.3), ground)
    box = Box(0, 0, PHOTO_WIDTH - 1, len(band) - 1)
    return painted(band, [Plate(box, wrapped, HEAD_TEXT, WHITE, ground=ground)])


def legend_band(pens: Sequence[tuple[str, Pen]], foot: str, *, by_hand: str = "") -> Pixels:
    """Return the band that explains the lines; `by_hand` explains the diamond, `foot` stands at the right."""
    marks: list[Mark] = []
    x, middle = EDGE, LEGEND / 2
    for words, pen in pens:
        marks.append(Line(np.array([[x, middle], [x + SWATCH, middle]]), pen))
        marks.append(Words(x + SWATCH + 15, middle + CALM_TEXT * 0.35, words, CALM_TEXT, WHITE))
        x += SWATCH + 65 + text_size(words, CALM_TEXT)[0]
    if by_hand:
        marks.append(Diamond(x + HAND, middle, HAND, WHITE))
        marks.append(Words(x + 3 * HAND + 5, middle + CALM_TEXT * 0.35, by_hand, CALM_TEXT, WHITE))
    marks.append(Words(PHOTO_WIDTH - EDGE, middle + CALM_TEXT * 0.35, foot, CALM_TEXT - 4, WHITE, "end"))
    return painted(_ground(LEGEND, DARK), marks)


def list_band(title: str, rows: Sequence[Row]) -> Pixels:
    """Return the band that tells what the numbers in the picture stand for, in as many columns as fit."""
    widest = max(text_size(words, CALM_TEXT)[0] for _, words, _ in rows) + 90
    columns = max(min(int((PHOTO_WIDTH - 2 * EDGE) / widest), len(rows)), 1)
    height = -(-len(rows) // columns)
    marks: list[Mark] = [Words(EDGE, 40, title, CALM_TEXT, WHITE)]
    for i, (number, words, loud) in enumerate(rows):
        column, row = divmod(i, height)
        x, y = EDGE + column * (PHOTO_WIDTH - 2 * EDGE) / columns, 82 + ROW * row
        ground, rim = (VERMILLION, WHITE) if loud else (GREY, WHITE)
        side = 1.55 * CALM_TEXT
        box = Box(x, y - side / 2, x + side, y + side / 2)
        marks.append(
            Plate(box, number, CALM_TEXT, WHITE, ground=ground if loud else DARK, rim=rim, round=True)
        )
        marks.append(Words(x + side + 14, y + CALM_TEXT * 0.35, words, CALM_TEXT, WHITE))
    return painted(_ground(round(72 + ROW * height), DARK), marks)
