"""Labels that keep clear of the dummy, of lines and of each other, with leaders to what they are about.

A label is a plate with words, or a number: a small disc beside its spot that may lie on the dummy, while what
it stands for is told in a list below the picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from skimage.measure import points_in_poly

from capture.arrays import Array
from compare.tell.draw.marks import Box, Line, Mark, Plate, text_size
from compare.tell.draw.palette import (
    CALM_TEXT,
    DARK,
    GREY,
    LEADER,
    LOUD_LEADER,
    LOUD_TEXT,
    VERMILLION,
    WHITE,
)

TURNS: Final = np.radians([0, 20, -20, 40, -40, 65, -65, 100, -100, 180])  # from the side a label wants
ROUNDS: Final = 3  # all choose again, now that they know where the others lie


@dataclass(frozen=True, slots=True)
class Costs:
    """What a place of a label costs, in text sizes of distance; found by looking at the samples."""

    turn: float = 4.0  # per radian away from the side it wants
    on_label: float = 20.0  # per square of text size shared with another label
    outside: float = 40.0  # per square of text size outside the picture
    on_line: float = 0.8  # per dot (40 a line) of a drawn line under it
    on_leader: float = 3.0  # per dot of another's leader under it, or of its own under another
    on_dummy: float = 6.0  # per square of text size of the dummy under it
    crossing: float = 8.0  # per line or leader that its own leader crosses


COSTS: Final = Costs()


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
    number : True for a number that a list below explains; it may lie on the dummy.
    """

    text: str
    at: Array
    away: Array
    weight: float = 1.0
    loud: bool = False
    number: bool = False

    @property
    def size(self) -> float:
        """Size of its text, px."""
        return float(LOUD_TEXT if self.loud and not self.number else CALM_TEXT)

    @property
    def plate(self) -> tuple[float, float]:
        """Width and height of its plate, px; a number's is as wide as high."""
        w, h = text_size(self.text, self.size)
        if self.number:
            return (1.55 * self.size,) * 2
        return w + self.size * 0.9, h + self.size * 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A label with its box."""

    label: Label
    box: Box

    @property
    def leader(self) -> tuple[Array, Array]:
        """From its spot to the nearest point of its box."""
        at, b = self.label.at, self.box
        return at, np.clip(at, (b.x0, b.y0), (b.x1, b.y1))


def place_labels(
    labels: Sequence[Label], frame: Box, lines: Sequence[tuple[Array, Array]], dummy: Array | None = None
) -> list[Placed]:
    """Choose a box for each label: near its spot, clear of the dummy, of lines and of other labels.

    Parameters
    ----------
    frame : the picture. lines : (from, to), each (2,), of what is drawn. dummy : (N, 2) outline that no
        plate may hide.

    Returns
    -------
    The labels by weight: the important ones choose first, each the cheapest of a fan of places.
    """
    ordered = sorted(labels, key=lambda x: -x.weight)
    dots = _dots(lines)
    placed: dict[int, Placed] = {}
    for _ in range(ROUNDS):
        before = dict(placed)
        for i, label in enumerate(ordered):
            others = [p for k, p in placed.items() if k != i]
            hidden = None if label.number else dummy
            placed[i] = _best_place(label, frame, lines, dots, others, hidden)
        if before and all(placed[i].box == before[i].box for i in placed):
            break
    return [placed[i] for i in range(len(ordered))]


def label_marks(placed: Sequence[Placed]) -> list[Mark]:
    """Return the leaders and plates of placed labels, loud ones on top."""
    out: list[Mark] = [
        Line(np.array(p.leader), LOUD_LEADER if p.label.loud else LEADER)
        for p in placed
        if not p.label.number
    ]
    for p in sorted(placed, key=lambda p: p.label.loud):
        ground, rim = (VERMILLION, WHITE) if p.label.loud else (DARK, WHITE if p.label.number else GREY)
        out.append(
            Plate(p.box, p.label.text, p.label.size, WHITE, ground=ground, rim=rim, round=p.label.number)
        )
    return out


def _fan(label: Label) -> tuple[Array, Array]:
    """Return the places to choose from: boxes (n, 4) and what distance and turn cost, (n,)."""
    size = label.size
    first, last = (0.35, 4.0) if label.number else (0.6, 18.0)
    distance, turn = (
        a.ravel() for a in np.meshgrid(np.arange(first, last, 0.4) * size, TURNS, indexing="ij")
    )
    c, s = np.cos(turn), np.sin(turn)
    way = np.stack([c * label.away[0] - s * label.away[1], s * label.away[0] + c * label.away[1]], axis=1)
    half = np.array(label.plate) / 2
    centre = label.at + way * (distance + np.abs(way) @ half)[:, None]
    return np.hstack([centre - half, centre + half]), distance / size + COSTS.turn * np.abs(turn)


def _best_place(
    label: Label,
    frame: Box,
    lines: Sequence[tuple[Array, Array]],
    dots: Array,
    others: Sequence[Placed],
    dummy: Array | None,
) -> Placed:
    """Return the label at the cheapest place, given where the others lie."""
    leaders = [p.leader for p in others]
    places, cost = _fan(label)
    cost = cost + _cost(label, places, [p.box for p in others], frame, dots, _dots(leaders))
    if dummy is not None:
        cost += COSTS.on_dummy * np.array([_covered(box, dummy, label.size) for box in places])
    best: tuple[float, Placed] | None = None
    for k in np.argsort(cost, kind="stable"):
        if best is not None and cost[k] >= best[0]:
            break
        here = Placed(label, Box(*(float(v) for v in places[k])))
        at, end = here.leader
        own = _dots([(at, end)])
        whole = float(cost[k]) + sum(COSTS.on_leader * _inside(own, p.box.grown(3)) for p in others)
        whole += COSTS.crossing * _crossings(
            at + (end - at) * 0.1, end, [*lines, *leaders]
        )  # it begins on its line
        if best is None or whole < best[0]:
            best = (whole, here)
    assert best is not None
    return best[1]


def _covered(box: Array, dummy: Array, size: float) -> float:
    """Return how much of the dummy a box hides, in squares of the text's size."""
    x, y = (
        np.linspace(low, high, max(round(2 * (high - low) / size), 2) + 1)
        for low, high in (box[[0, 2]], box[[1, 3]])
    )
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return float(np.count_nonzero(points_in_poly(grid, dummy))) / 4


def _cost(
    label: Label, boxes: Array, others: Sequence[Box], frame: Box, dots: Array, leaders: Array
) -> Array:
    """Cost of places (n, 4) for what they hide, (n,)."""
    edge = label.size * 0.25
    roomy = boxes + np.array([-edge, -edge, edge, edge])
    unit = label.size**2
    hits = np.sum([_shared(roomy, o) for o in others], axis=0) / unit if others else np.zeros(len(boxes))
    area = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    out: Array = COSTS.on_label * hits + COSTS.outside * (area - _shared(boxes, frame)) / unit
    out += COSTS.on_line * _many_inside(dots, roomy) + COSTS.on_leader * _many_inside(leaders, roomy)
    return out


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


def _dots(lines: Sequence[tuple[Array, Array]]) -> Array:
    """Return 40 points along every line, (n, 2)."""
    share = np.linspace(0, 1, 40)[:, None]
    return np.concatenate([np.zeros((0, 2)), *(a + (b - a) * share for a, b in lines)])


def _inside(dots: Array, box: Box) -> int:
    """Return how many points lie in a box."""
    return int(_many_inside(dots, np.array([[box.x0, box.y0, box.x1, box.y1]]))[0])


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
