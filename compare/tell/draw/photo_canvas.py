"""Drawing on a photo: smooth lines with a halo, text, boxes, and labels that keep out of each other's way.

OpenCV draws the lines (anti-aliased, sub-pixel), Pillow the text (its built-in scalable font, so that the
picture looks the same on every machine). Colours are RGB, from the palette of Okabe and Ito ("Color Universal
Design", 2008), which stays distinct with the common kinds of colour blindness; the three kinds of mark differ
in line style as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from capture.arrays import Array, Pixels

Colour = tuple[int, int, int]

ORANGE: Final[Colour] = (230, 159, 0)
SKY: Final[Colour] = (86, 180, 233)
VERMILLION: Final[Colour] = (213, 94, 0)
GREEN: Final[Colour] = (0, 158, 115)
DARK: Final[Colour] = (20, 22, 26)
GREY: Final[Colour] = (120, 124, 130)
WHITE: Final[Colour] = (255, 255, 255)

_SHIFT: Final = 4  # OpenCV draws at 1/16 pixel


@dataclass(frozen=True, slots=True)
class Box:
    """Axis-parallel rectangle, pixels."""

    x0: float
    y0: float
    x1: float
    y1: float

    def overlap(self, other: "Box") -> float:
        """Return the area shared with another box."""
        w = min(self.x1, other.x1) - max(self.x0, other.x0)
        h = min(self.y1, other.y1) - max(self.y0, other.y0)
        return max(w, 0.0) * max(h, 0.0)

    def grown(self, by: float) -> "Box":
        """Return the box grown on all sides."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def outside(self, frame: "Box") -> float:
        """Return the area that lies outside a frame."""
        return (self.x1 - self.x0) * (self.y1 - self.y0) - self.overlap(frame)


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return Pillow's built-in font at a size in pixels."""
    return ImageFont.load_default(size)


def text_size(text: str, size: int) -> tuple[float, float]:
    """Return width and height of (possibly several lines of) text, pixels."""
    draw = ImageDraw.Draw(Image.new("L", (1, 1)))
    x0, y0, x1, y1 = draw.multiline_textbbox((0, 0), text, font=font(size), spacing=size * 0.25)
    return float(x1 - min(x0, 0)), float(y1 - min(y0, 0))


def polyline(picture: Pixels, points: Array, colour: Colour, width: float, *, dash: float = 0.0) -> None:
    """Draw a smooth line through points (N, 2) with a dark halo; `dash` > 0 breaks it into dashes (px)."""
    pieces = [points] if dash <= 0 else _dashes(points, dash)
    for shade, w in ((DARK, width + 2 + width / 2), (colour, width)):
        for piece in pieces:
            q = np.round(piece * 2**_SHIFT).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(picture, [q], False, shade, max(round(w), 1), cv2.LINE_AA, _SHIFT)


def _dashes(points: Array, dash: float) -> list[Array]:
    """Return the pieces of a line that a dashed pen draws."""
    out: list[Array] = []
    for a, b in zip(points[:-1], points[1:], strict=True):
        length = float(np.hypot(*(b - a)))
        n = max(round(length / dash), 1)
        n += 1 - n % 2  # odd: begins and ends with ink
        cuts = a + (b - a) * np.linspace(0, 1, n + 1)[:, None]
        out += [cuts[i : i + 2] for i in range(0, n, 2)]
    return out


def disc(picture: Pixels, centre: Array, radius: float, colour: Colour) -> None:
    """Draw a filled disc with a dark rim."""
    at = tuple(int(v) for v in np.round(centre * 2**_SHIFT))
    for shade, r in ((DARK, radius + 2), (colour, radius)):
        cv2.circle(picture, (at[0], at[1]), round(r * 2**_SHIFT), shade, -1, cv2.LINE_AA, _SHIFT)


def square(picture: Pixels, centre: Array, radius: float, colour: Colour) -> None:
    """Draw a filled square standing on its corner, with a dark rim."""
    for shade, r in ((DARK, radius + 3), (colour, radius)):
        corners = centre + r * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
        q = np.round(corners * 2**_SHIFT).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(picture, [q], shade, cv2.LINE_AA, _SHIFT)


def plate(
    picture: Pixels,
    box: Box,
    text: str,
    size: int,
    *,
    ink: Colour,
    ground: Colour,
    rim: Colour | None = None,
) -> Pixels:
    """Return the picture with text on a filled plate with rounded corners."""
    image = Image.fromarray(picture)
    draw = ImageDraw.Draw(image)
    radius = size * 0.3
    draw.rounded_rectangle(
        (box.x0, box.y0, box.x1, box.y1),
        radius,
        fill=ground,
        outline=rim,
        width=(max(size // 7, 2) if rim == WHITE else 1) if rim else 0,
    )
    draw.multiline_text(
        ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2),
        text,
        fill=ink,
        font=font(size),
        anchor="mm",
        align="center",
        spacing=size * 0.25,
    )
    return np.array(image, dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Label:
    """A label wanted beside a spot.

    Attributes
    ----------
    text : one or two lines.
    at : (2,) the spot it points at, px.
    away : (2,) unit vector of the side it should lie on.
    weight : importance, placed first.
    loud : True for a fault.
    """

    text: str
    at: Array
    away: Array
    weight: float
    loud: bool


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A label with its box."""

    label: Label
    box: Box


def place_labels(
    labels: Sequence[Label],
    size: int,
    frame: Box,
    lines: Sequence[tuple[Array, Array]],
    taken: Sequence[Box] = (),
) -> list[Placed]:
    """Choose a box for each label: near its spot, on its side, clear of lines, of other labels and inside.

    The important labels choose first, each the cheapest of a fan of places; then all choose twice more, now
    that they know where the others lie. None lies on a box that is `taken`.
    """
    ordered = sorted(labels, key=lambda x: -x.weight)
    plates = [_plate_size(x.text, size) for x in ordered]
    dots = np.concatenate([np.zeros((0, 2)), *(_dotted(a, b) for a, b in lines)])
    placed: dict[int, Placed] = {}
    for _ in range(3):
        before = dict(placed)
        for i, label in enumerate(ordered):
            others = [p for k, p in placed.items() if k != i]
            placed[i] = _best_place(label, plates[i], size, frame, lines, dots, others, taken)
        if before and all(placed[i].box == before[i].box for i in placed):
            break
    return [placed[i] for i in range(len(ordered))]


def _plate_size(text: str, size: int) -> tuple[float, float]:
    """Return width and height of the plate of a label."""
    w, h = text_size(text, size)
    return w + size * 0.9, h + size * 0.6


TURNS: Final = np.radians([0, 20, -20, 40, -40, 65, -65, 100, -100, 180])


def _fan(label: Label, plate: tuple[float, float], size: int) -> tuple[Array, Array]:
    """Return the places to choose from: boxes (n, 4) and what distance and turn cost, (n,)."""
    distance, turn = (a.ravel() for a in np.meshgrid(np.arange(0.6, 9.0, 0.4) * size, TURNS, indexing="ij"))
    c, s = np.cos(turn), np.sin(turn)
    way = np.stack([c * label.away[0] - s * label.away[1], s * label.away[0] + c * label.away[1]], axis=1)
    w, h = plate
    room = distance + np.abs(way[:, 0]) * w / 2 + np.abs(way[:, 1]) * h / 2
    centre = label.at + way * room[:, None]
    half = np.array([w, h]) / 2
    return np.hstack([centre - half, centre + half]), distance / size + 4 * np.abs(turn)


def _best_place(
    label: Label,
    plate: tuple[float, float],
    size: int,
    frame: Box,
    lines: Sequence[tuple[Array, Array]],
    dots: Array,
    others: Sequence[Placed],
    taken: Sequence[Box],
) -> Placed:
    """Return the label at the cheapest place, given where the others lie."""
    boxes = [*(p.box for p in others), *taken]
    leaders = [(p.label.at, nearest(p.box, p.label.at)) for p in others]
    leader_dots = np.concatenate([np.zeros((0, 2)), *(_dotted(a, b) for a, b in leaders)])
    places, cost = _fan(label, plate, size)
    cost = cost + _cost(places, boxes, frame, dots, leader_dots, size)
    best: tuple[float, Box] | None = None
    for k in np.argsort(cost, kind="stable"):
        if best is not None and cost[k] >= best[0]:
            break
        box = Box(*(float(v) for v in places[k]))
        end = nearest(box, label.at)
        start = label.at + (end - label.at) * 0.1  # the leader begins on its own line
        leader = _dotted(label.at, end)
        whole = float(cost[k]) + sum(3.0 * _inside(leader, b.grown(3)) for b in boxes)
        whole += 8.0 * _crossings(start, end, [*lines, *leaders])
        if best is None or whole < best[0]:
            best = (whole, box)
    assert best is not None
    return Placed(label, best[1])


def _crossings(a: Array, b: Array, lines: Sequence[tuple[Array, Array]]) -> int:
    """Return how many of the straight lines the line from a to b crosses."""
    if not lines:
        return 0
    p, q = (np.array([line[k] for line in lines]) for k in (0, 1))

    def turn(o: Array, u: Array, v: Array) -> Array:
        d, e = u - o, v - o
        out: Array = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
        return out

    apart = (turn(p, q, a) * turn(p, q, b) < 0) & (turn(a, b, p) * turn(a, b, q) < 0)
    return int(np.count_nonzero(apart))


def nearest(box: Box, point: Array) -> Array:
    """Return the point (2,) of a box that is nearest to a point."""
    return np.clip(point, (box.x0, box.y0), (box.x1, box.y1))


def _dotted(a: Array, b: Array) -> Array:
    """Return 40 points (40, 2) from a to b."""
    out: Array = a + (b - a) * np.linspace(0, 1, 40)[:, None]
    return out


def _inside(dots: Array, box: Box) -> int:
    """Return how many points lie in a box."""
    x, y = dots[:, 0], dots[:, 1]
    return int(np.count_nonzero((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)))


def _many_inside(dots: Array, boxes: Array) -> Array:
    """Return how many points lie in each of many boxes (n, 4), (n,)."""
    x, y = dots[:, 0], dots[:, 1]
    b = boxes[:, :, None]
    out: Array = np.sum((x > b[:, 0]) & (x < b[:, 2]) & (y > b[:, 1]) & (y < b[:, 3]), axis=1, dtype=float)
    return out


def _shared(boxes: Array, other: Box) -> Array:
    """Return the area that each of many boxes (n, 4) shares with another, (n,)."""
    w = np.minimum(boxes[:, 2], other.x1) - np.maximum(boxes[:, 0], other.x0)
    h = np.minimum(boxes[:, 3], other.y1) - np.maximum(boxes[:, 1], other.y0)
    out: Array = np.maximum(w, 0.0) * np.maximum(h, 0.0)
    return out


def _cost(boxes: Array, others: Sequence[Box], frame: Box, dots: Array, leaders: Array, size: int) -> Array:
    """Cost of places (n, 4): crossing other labels is worst, then leaving the frame, then hiding lines."""
    edge = size * 0.25
    roomy = boxes + np.array([-edge, -edge, edge, edge])
    unit = float(size * size)
    hits = np.sum([_shared(roomy, o) for o in others], axis=0) / unit if others else np.zeros(len(boxes))
    area = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    out = (area - _shared(boxes, frame)) / unit
    cost: Array = 20 * hits + 40 * out + 0.8 * _many_inside(dots, roomy) + 3.0 * _many_inside(leaders, roomy)
    return cost
