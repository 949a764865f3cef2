"""The steps by which a mechanism is laid out, one after the other, each in closed form where one exists.

A mechanism is a short program of steps; each finds joints and directions from those already known. Directions
are carried as angles, not read off coordinates, so that nothing is lost near closed, where all of them
approach the direction of the pages. Everything is vectorised over opening and samples.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np

from capture.arrays import Array
from compare.design.linkage.four_bar import four_bar
from compare.design.linkage.pose import heading, turn_of

Terms = Mapping[str, float]
"""A distance along a panel as a sum of lengths: length name -> coefficient."""

ROUNDS: Final = 30  # of Newton's method, for the two cases without a formula; 4 to 6 are used
BIGGEST_STEP: Final = 0.2  # rad
ROUNDING_MM2: Final = 1e-9  # circles that miss by less touch


@dataclass(slots=True, eq=False)
class Bench:
    """What has been laid out so far; lengths in mm, opening `phi` in rad."""

    lengths: Mapping[str, Array]
    phi: Array
    joints: dict[str, Array] = field(default_factory=dict)
    turns: dict[str, Array] = field(default_factory=dict)
    stretch: dict[str, Array] = field(default_factory=dict)
    points: dict[str, Array] = field(default_factory=dict)
    nod: Array | None = None

    def total(self, terms: Terms) -> Array:
        """Return a sum of lengths, mm."""
        out = np.zeros(())
        for name, c in terms.items():
            out = out + c * self.lengths[name]
        return out

    def along(self, start: str, panel: str, distance: Array) -> Array:
        """Return the point at a distance from a joint in the direction of a panel, (..., 2)."""
        return self.joints[start] + distance[..., None] * heading(self.turns[panel])


class Step(Protocol):
    """Something that finds joints and directions from those already found."""

    def run(self, bench: Bench) -> None:
        """Add to the bench."""


@dataclass(frozen=True, slots=True)
class Pages:
    """The two pages, at half the opening on either side of the bisector."""

    def run(self, bench: Bench) -> None:
        """Lay the spine and the directions of the pages."""
        half = bench.phi / 2
        bench.joints["spine"] = np.zeros((*half.shape, 2))
        bench.turns["page right"] = half
        bench.turns["page left"] = -half


@dataclass(frozen=True, slots=True)
class Place:
    """A joint on a panel already laid, at a distance from one of its joints."""

    joint: str
    panel: str
    start: str
    terms: Terms

    def run(self, bench: Bench) -> None:
        """Lay the joint."""
        bench.joints[self.joint] = bench.along(self.start, self.panel, bench.total(self.terms))


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """A four-bar on a corner: two arms known, two panels wanted.

    Arm `a` is the clockwise one of the two. From the corner, joint `at_p` lies on it at distance `a`, joint
    `at_q` on the other at distance `b`; panel `p` runs from the one, panel `q` from the other, to `meet`.
    """

    arms: tuple[str, str]
    a: Terms
    b: Terms
    at_p: str
    at_q: str
    p: tuple[str, Terms]
    q: tuple[str, Terms]
    meet: str

    def run(self, bench: Bench) -> None:
        """Lay both panels and the joint where they meet."""
        first, second = self.arms
        p, q = bench.total(self.p[1]), bench.total(self.q[1])
        corner = bench.turns[first] - bench.turns[second]
        at_p, at_q = four_bar(bench.total(self.a), bench.total(self.b), p, q, corner)
        bench.turns[self.p[0]] = bench.turns[first] - at_p
        bench.turns[self.q[0]] = bench.turns[second] + at_q
        bench.joints[self.meet] = bench.along(self.at_p, self.p[0], p)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dyad:
    """Two panels from two known joints to a new one: the circles about them meet twice, `side` picks one.

    side +1: the new joint lies to the left of the way from `at_p` to `at_q`, seen end-on; -1: to the right.
    """

    at_p: str
    at_q: str
    p: tuple[str, Terms]
    q: tuple[str, Terms]
    meet: str
    side: int

    def run(self, bench: Bench) -> None:
        """Lay both panels and the joint where they meet; nan where they cannot reach."""
        a, b = bench.joints[self.at_p], bench.joints[self.at_q]
        p, q = bench.total(self.p[1]), bench.total(self.q[1])
        way = b - a
        d2 = np.sum(way * way, axis=-1)
        along = (d2 + p * p - q * q) / 2
        rise2 = d2 * p * p - along * along  # (height above the way, times its length) squared
        rise2 = np.where((rise2 < 0) & (rise2 > -ROUNDING_MM2 * d2), 0.0, rise2)
        with np.errstate(invalid="ignore", divide="ignore"):
            rise = self.side * np.sqrt(rise2)
            normal = np.stack((-way[..., 1], way[..., 0]), axis=-1)
            there = a + (along[..., None] * way + rise[..., None] * normal) / d2[..., None]
        bench.joints[self.meet] = there
        bench.turns[self.p[0]] = turn_of(there - a)
        bench.turns[self.q[0]] = turn_of(there - b)


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs:
    """Several legs under one half of a plane: more supports than it needs.

    The outermost governs if the half is to be laid by one leg; with all legs equally stiff the half takes the
    direction that makes the sum of the squares of what they must stretch least. If they agree none stretches.

    legs : (panel, foot joint, top joint, leg length, spacing on the plane), from the ridge outwards.
    outer : the corner of the outermost leg.
    """

    plane: str
    ridge: str
    legs: tuple[tuple[str, str, str, str, str], ...]
    outer: Corner

    def run(self, bench: Bench) -> None:
        """Lay the plane half and all its legs."""
        self.outer.run(bench)
        turn = bench.turns[self.plane]
        ridge = bench.joints[self.ridge]
        n = bench.lengths
        parts = [(bench.joints[foot], n[leg], n[t]) for _, foot, _, leg, t in self.legs]
        for _ in range(ROUNDS):
            top, side = heading(turn), heading(turn + np.pi / 2)  # a point on the plane, and how it moves
            slope, force = np.zeros_like(turn), np.zeros_like(turn)
            for foot, leg, t in parts:
                reach = ridge + t[..., None] * top - foot
                size = np.hypot(reach[..., 0], reach[..., 1])
                rate = t * np.sum(reach * side, axis=-1) / size
                slope, force = slope + rate * rate, force + rate * (size - leg)
            step = np.divide(force, slope, out=np.zeros_like(force), where=slope > 0)
            step = np.clip(step, -BIGGEST_STEP, BIGGEST_STEP)
            turn = turn - step
            if not np.any(np.abs(step) > 1e-14):
                break
        bench.turns[self.plane] = turn
        for (panel, _, top_name, leg_name, t_name), (at, size, _) in zip(self.legs, parts, strict=True):
            there = bench.along(self.ridge, self.plane, n[t_name])
            bench.joints[top_name] = there
            bench.turns[panel] = turn_of(there - at)
            bench.stretch[leg_name] = np.hypot(*np.moveaxis(there - at, -1, 0)) - size


@dataclass(frozen=True, slots=True, kw_only=True)
class Prop:
    """A plane on a parallelogram of one side, held up from the other page by a plain support.

    If the parallelogram is exact the plane only shifts, so the support's tab circles about a point of the
    page and the whole is a tent (a formula). If not, three panels hold the plane to the pages, for which
    there is none: Newton's method on the angle of the fold, from the tent.

    sign : +1 if the parallelogram is on the right; tab_sign : +1 if the tab lies outside the ridge, -1 if it
    lies on the support's own side of it.
    """

    sign: float
    own_page: str
    other_page: str
    foot: Terms
    support_foot: Terms
    fold: tuple[str, str]
    leg: tuple[str, str]
    spacing_page: str
    spacing_plane: str
    plane: str
    support: tuple[str, str]
    tab: str
    tab_sign: float
    at_foot: str
    at_outer: str
    at_support: str
    ridge: str
    leg_top: str
    support_top: str

    def _plane(self, bench: Bench, psi: Array) -> tuple[Array, Array]:
        """Angles (to the own page, inwards) of leg and plane half for this angle of the fold."""
        n = bench.lengths
        base, fold = n[self.spacing_page], n[self.fold[1]]
        leg, at_ridge = four_bar(base, fold, n[self.leg[1]], n[self.spacing_plane], psi)
        return leg, psi - at_ridge

    def _gap(self, bench: Bench, psi: Array) -> Array:
        """Squared distance of the tab from the support's foot less the square of the support, mm^2."""
        n = bench.lengths
        page = bench.turns[self.own_page]
        _, lean = self._plane(bench, psi)
        ridge = bench.joints[self.at_foot] + n[self.fold[1]][..., None] * heading(page - self.sign * psi)
        tab = ridge + self.tab_sign * n[self.tab][..., None] * heading(page - self.sign * lean)
        way = tab - bench.joints[self.at_support]
        out: Array = np.sum(way * way, axis=-1) - n[self.support[1]] ** 2
        return out

    def run(self, bench: Bench) -> None:
        """Lay fold, leg, plane and support."""
        n = bench.lengths
        c, tab = bench.total(self.foot), self.tab_sign * n[self.tab]
        opening = self.sign * (bench.turns[self.own_page] - bench.turns[self.other_page])
        psi, _ = four_bar(
            c + tab, bench.total(self.support_foot), n[self.fold[1]], n[self.support[1]], opening
        )
        for _ in range(ROUNDS):
            gap = self._gap(bench, psi)
            h = 1e-7 * np.maximum(psi, 1e-7)
            slope = (self._gap(bench, psi + h) - gap) / h
            with np.errstate(invalid="ignore", divide="ignore"):
                step = np.where(np.abs(gap) > 1e-9, gap / slope, 0.0)
            step = np.clip(step, -BIGGEST_STEP, BIGGEST_STEP)
            psi = psi - step
            if not np.any(np.abs(step) > 1e-13):
                break
        with np.errstate(invalid="ignore"):
            psi = np.where(np.abs(self._gap(bench, psi)) < 1e-6 * n[self.support[1]] ** 2, psi, np.nan)
        leg, lean = self._plane(bench, psi)
        page = bench.turns[self.own_page]
        bench.turns[self.fold[0]] = page - self.sign * psi
        bench.turns[self.leg[0]] = page - self.sign * leg
        bench.turns[self.plane] = page - self.sign * lean
        bench.joints[self.ridge] = bench.along(self.at_foot, self.fold[0], n[self.fold[1]])
        bench.joints[self.leg_top] = bench.along(self.at_outer, self.leg[0], n[self.leg[1]])
        top = bench.along(self.ridge, self.plane, tab)
        bench.joints[self.support_top] = top
        bench.turns[self.support[0]] = turn_of(top - bench.joints[self.at_support])
