"""Choosing one candidate line for every panel so that, together, they make the expected dummy.

Evidence alone would often pick a shadow or a far edge for one panel. The lengths between joints are nearly
right in a real dummy, with one or two exceptions; so the choice maximises evidence minus a penalty on every
length that is capped: one wrong strip may be as wrong as it likes. The search keeps the best partial choices
panel after panel (a beam), every term being added as soon as the panels it needs are chosen.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from measure.edges.candidate_lines import Candidate
from measure.geometry import Curve, cross_point
from measure.layout import Layout, Panel, Role

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceNumbers:
    """Tuned numbers of choosing together, found on path-traced photographs of dummies with known faults."""

    beam: int = 600
    """Best partial choices kept."""
    length_sd_mm: float = 0.5
    """Hand-cut strips: standard deviation of a length."""
    length_weight: float = 8.0
    """Log-likelihood units for each half squared standard deviation, of lengths and gaps."""
    length_cap: float = 4.0
    """Half squared standard deviations beyond which a wrong length costs no more: one strip may be as
    wrong as it likes, ..."""
    length_pull: float = 0.02
    """... only that nearer is still likelier (per mm^2)."""
    impossible: float = 1e3
    """What a length costs that lines do not determine."""
    off_mm: float = 1.5
    """A length off by more is far off."""
    most_off: int = 3
    """A dummy with two faults has up to so many lengths far off; more are found where it is not."""
    off_cost: float = 200.0
    """What every further one costs."""
    gap_sd_mm: float = 0.25
    """Three panels run through one joint within this ..."""
    gap_cap: float = 400.0
    """... and missing it costs up to so much: a strip may be cut wrong, but card that meets card meets
    it."""
    flat_gap_mm: float = 0.2
    """Two pages lying flat have no crossing to speak of; they must meet within this, ..."""
    flat_turn_rad: float = float(np.deg2rad(0.5))
    """... go straight on within this, ..."""
    flat_weight: float = 2.0
    """... at so much per squared standard deviation, ..."""
    flat_cap: float = 60.0
    """... up to so much."""


TUNED = ChoiceNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PanelLines:
    """Candidates of one panel, and its base line in sheet coordinates.

    `hinge_mm` moves the panel's middle line to the line on which its joints lie (+ to the left of the base
    line): the feet stand on a page, they are not in its middle. `up` is +1 if up is to the left of it.
    """

    panel: Panel
    base: Curve
    candidates: Sequence[Candidate]
    hinge_mm: float = 0.0
    up: float = 1.0


@dataclass(slots=True, eq=False)
class _Lines:
    """Candidate lines of a panel as points p + t v."""

    p: Array
    v: Array
    score: Array


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Choice:
    """The chosen candidate (index) per panel name, the total score, and how many lengths are far off."""

    index: Mapping[str, int]
    score: float
    per_panel: Mapping[str, float] = field(default_factory=dict)
    n_off: int = 0


def _lines(item: PanelLines) -> _Lines:
    d = np.array([[c.d0_mm, c.d1_mm] for c in item.candidates]) + item.hinge_mm
    p = item.base.a + d[:, :1] * item.base.normal
    q = item.base.b + d[:, 1:] * item.base.normal
    v = q - p
    v /= np.hypot(v[:, 0], v[:, 1])[:, None]
    return _Lines(p=p, v=v, score=np.array([c.score for c in item.candidates]))


def _length_penalty(delta: Array) -> Array:
    out: Array = (
        TUNED.length_weight * np.minimum(0.5 * (delta / TUNED.length_sd_mm) ** 2, TUNED.length_cap)
        + TUNED.length_pull * delta**2
    )
    return np.where(np.isfinite(delta), out, TUNED.impossible)


class _Search:
    """State of the beam search; one row per partial choice."""

    def __init__(self, layout: Layout, items: Sequence[PanelLines]) -> None:
        self.layout = layout
        self.items = list(items)
        self.lines = [_lines(item) for item in items]
        self.picked: Index = np.zeros((1, 0), dtype=np.intp)
        self.score: Array = np.zeros(1)
        self.joint_xy: dict[str, Array] = {}
        self.owner: dict[str, int] = {}  # first panel seen at a joint
        self.done_lengths: set[tuple[str, str]] = set()
        self.n_off: Index = np.zeros(1, dtype=np.intp)  # lengths far off, per partial choice

    def _at(self, k: int) -> tuple[Array, Array]:
        pick = self.picked[:, k]
        return self.lines[k].p[pick], self.lines[k].v[pick]

    def take(self, k: int, rows: Index, new: Index) -> None:
        """Extend partial choices `rows` by candidates `new` of panel k."""
        self.picked = np.column_stack([self.picked[rows], new])
        self.score = self.score[rows] + self.lines[k].score[new]
        self.n_off = self.n_off[rows]
        self.joint_xy = {name: xy[rows] for name, xy in self.joint_xy.items()}
        self._join(k)
        self._price_lengths()

    def add(self, k: int) -> None:
        """Extend every partial choice by every candidate of panel k and keep the best."""
        n = len(self.lines[k].score)
        self.take(k, np.repeat(np.arange(len(self.score)), n), np.tile(np.arange(n), len(self.score)))
        keep = np.argsort(-self.score)[: TUNED.beam]
        self.picked, self.score, self.n_off = self.picked[keep], self.score[keep], self.n_off[keep]
        self.joint_xy = {name: xy[keep] for name, xy in self.joint_xy.items()}

    def _join(self, k: int) -> None:
        p, v = self._at(k)
        for joint in self.items[k].panel.joints:
            if joint in self.joint_xy:
                off = self.joint_xy[joint] - p
                gap = off[:, 0] * -v[:, 1] + off[:, 1] * v[:, 0]
                self.score = self.score - np.minimum(
                    TUNED.length_weight * 0.5 * (gap / TUNED.gap_sd_mm) ** 2, TUNED.gap_cap
                )
            elif joint in self.owner:
                q, w = self._at(self.owner[joint])
                both_pages = (
                    self.items[k].panel.role is Role.PAGE
                    and self.items[self.owner[joint]].panel.role is Role.PAGE
                )
                if both_pages and self.layout.lies_flat:
                    self._join_flat(p, v, q, w)
                else:
                    self.joint_xy[joint] = cross_point(q, w, p, v)
            else:
                self.owner[joint] = k

    def _join_flat(self, p: Array, v: Array, q: Array, w: Array) -> None:
        """Two pages of a flat spread: no crossing to speak of, but they meet and go straight on."""
        off = p - q
        gap = off[:, 0] * -w[:, 1] + off[:, 1] * w[:, 0]
        turn = v[:, 0] * w[:, 1] - v[:, 1] * w[:, 0]
        weight = TUNED.flat_weight
        cost = weight * (gap / TUNED.flat_gap_mm) ** 2 + weight * (turn / TUNED.flat_turn_rad) ** 2
        self.score = self.score - np.minimum(cost, TUNED.flat_cap)

    def _price_lengths(self) -> None:
        pairs = [
            (a, b)
            for item in self.items
            for a, b in zip(item.panel.joints[:-1], item.panel.joints[1:], strict=True)
        ]
        pairs += feet_pair(self.layout)
        for a, b in pairs:
            if (a, b) in self.done_lengths or a not in self.joint_xy or b not in self.joint_xy:
                continue
            self.done_lengths.add((a, b))
            nominal = self.layout.length(a, b)
            length = np.hypot(*(self.joint_xy[a] - self.joint_xy[b]).T)
            self.score = self.score - _length_penalty(length - nominal)
            off = ~(np.abs(length - nominal) < TUNED.off_mm)
            self.n_off = self.n_off + off
            self.score = self.score - TUNED.off_cost * (off & (self.n_off > TUNED.most_off))


def feet_pair(layout: Layout) -> list[tuple[str, str]]:
    """Across the spine: the first feet of two pages, whose distance is known even where the spine is not."""
    inner = [p.joints[1] for p in layout.panels if p.role is Role.PAGE and len(p.joints) > 1]
    return [(inner[0], inner[1])] if len(inner) == 2 else []


def choose(layout: Layout, items: Sequence[PanelLines]) -> Choice | None:
    """Return the best combination of candidates; None if there is nothing to combine.

    Parameters
    ----------
    layout : nominal lengths.
    items : the panels in the order in which they should be decided: pages, folds, plane, legs.
    """
    if not items or any(len(item.candidates) == 0 for item in items):
        return None
    search = _Search(layout, items)
    for k in range(len(items)):
        search.add(k)
    best = search.picked[0]
    return Choice(
        index={item.panel.name: int(i) for item, i in zip(items, best, strict=True)},
        score=float(search.score[0]),
        n_off=int(search.n_off[0]),
        per_panel={item.panel.name: float(search.lines[k].score[best[k]]) for k, item in enumerate(items)},
    )


def losses(layout: Layout, items: Sequence[PanelLines], choice: Choice) -> dict[str, Array]:
    """Say by how much the whole is worse with another candidate of one panel alone: panel -> (N,)."""
    best = np.array([choice.index[item.panel.name] for item in items])
    swaps = [(k, c) for k, item in enumerate(items) for c in range(len(item.candidates))]
    picks = np.tile(best, (len(swaps) + 1, 1))
    for row, (k, c) in enumerate(swaps):
        picks[row, k] = c
    search = _Search(layout, items)
    rows = np.zeros(len(picks), dtype=np.intp)
    for k in range(len(items)):
        search.take(k, rows, picks[:, k])
        rows = np.arange(len(picks))
    lost = search.score[-1] - search.score[:-1]
    return {
        item.panel.name: np.array([lost[row] for row, (j, _) in enumerate(swaps) if j == k])
        for k, item in enumerate(items)
    }
