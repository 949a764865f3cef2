"""The steps by which a mechanism is laid out, one after the other, each in closed form where one exists.

A mechanism is a short program of steps; each finds joints and directions from those already known. Directions
are carried as angles, not read off coordinates, so that nothing is lost near closed, where all of them
approach the direction of the pages. Everything is vectorised over opening and samples.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar, Final, Protocol

import numpy as np

from capture.arrays import Array
from compare.design.linkage.four_bar import four_bar
from compare.design.linkage.pose import heading, turn_of
from compare.vocabulary import Kind, named

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


class Cost(IntEnum):
    """How long a step takes for many samples at once."""

    FORMULA = 0
    LONGER = 1  # a few rounds, or a formula with many parts
    SLOW = 2  # iterated for every sample: fewer samples are then drawn


class Step(Protocol):
    """Something that finds joints and directions from those already found."""

    cost: ClassVar[Cost]

    def run(self, bench: Bench) -> None:
        """Add to the bench."""


@dataclass(frozen=True, slots=True)
class Pages:
    """The two pages, at half the opening on either side of the bisector."""

    cost: ClassVar[Cost] = Cost.FORMULA

    def run(self, bench: Bench) -> None:
        """Lay the spine and the directions of the pages."""
        half = bench.phi / 2
        bench.joints["spine"] = np.zeros((*half.shape, 2))
        bench.turns[named(Kind.PAGE, "right")] = half
        bench.turns[named(Kind.PAGE, "left")] = -half


@dataclass(frozen=True, slots=True)
class Place:
    """A joint on a panel already laid, at a distance from one of its joints."""

    cost: ClassVar[Cost] = Cost.FORMULA

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

    cost: ClassVar[Cost] = Cost.FORMULA

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

    cost: ClassVar[Cost] = Cost.FORMULA

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

    cost: ClassVar[Cost] = Cost.LONGER

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
