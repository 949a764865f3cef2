"""A dummy put together from stripes, and where its plane and its pages end.

Edges of card that run back along the spine all point at the foot of the eye in the measuring plane; where one
begins on the line of the plane or of a page, that is its corner.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.tracing.straight_stripes import Stripe


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeNumbers:
    """Tuned numbers of what belongs together, found on path-traced photographs of known dummies."""

    gap_cost: float = 7.0
    """Evidence lost per mm that a strip stops short of where it should reach, ..."""
    free_gap_mm: float = 2.0
    """... beyond what is free."""
    aim_deg: float = 2.5
    """A line within this of running toward the foot of the eye may be an edge running back."""
    aim_mm: float = 10.0
    """Nearer to the foot of the eye every line does."""
    corner_gap_mm: float = 4.0
    """An edge running back begins within this of the line whose corner it is."""
    corner_within_mm: float = 30.0
    """A plane's corner is looked for so far beyond its outermost leg; ..."""
    corner_cost: float = 3.0
    """... the nearer is preferred, by so much per mm."""
    edge_beyond_leg_mm: float = 6.0
    """Where no corner says so, a plane is not thought to reach farther beyond its leg."""
    in_line_mm: float = 1.5
    """A line within this of a strip all along runs along it."""
    joint_slack_mm: float = 1.0
    """A corner may lie so far before the outermost joint."""


TUNED = ShapeNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Half:
    """One half of the plane: its line from the ridge outwards, and the legs under it, from the ridge out.

    `legs` holds (foot, top) per leg; `edge` is the outer end of the plane as far as it was seen; `corner` is
    True if an edge that runs back from there says so.
    """

    edge: Array
    legs: tuple[tuple[Array, Array], ...]
    score: float
    corner: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shape:
    """A dummy put together from stripes; sheet coordinates, mm.

    Attributes
    ----------
    pages : side -> (inner end, outer end) of the page as seen; the inner end of a flat page is the middle
        between the feet of the fold.
    flat : whether the pages make one line.
    spine_seen : whether the inner ends of the pages are the spine.
    feet : side -> foot of the fold.
    ridge : where the fold's sides meet.
    halves : side -> half of the plane; a side without one is missing.
    score : evidence explained.
    upper : whether something stands on the plane that was not traced.
    """

    pages: dict[str, tuple[Array, Array]]
    flat: bool
    spine_seen: bool
    feet: dict[str, Array]
    ridge: Array
    halves: dict[str, Half] = field(default_factory=dict)
    score: float = 0.0
    upper: bool = False


def aims_at(curve: Curve, eye_mm: Array, within_deg: float = TUNED.aim_deg) -> bool:
    """Whether a line runs toward the foot of the eye: so do edges of card that run along the spine.

    A strip that does so is seen exactly edge-on; that is rare.
    """
    to_eye = eye_mm[:2] - curve.points(np.array([0.5]))[0]
    distance = float(np.hypot(*to_eye))
    return bool(
        abs(float(curve.normal @ to_eye)) < distance * np.sin(np.deg2rad(within_deg))
        and distance > TUNED.aim_mm
    )


def with_edges(shape: Shape, running_back: Sequence[Stripe]) -> Shape:
    """Put the outer ends of plane and pages where an edge that runs back from them begins."""
    strips = [Curve(a=foot, b=top) for half in shape.halves.values() for foot, top in half.legs]
    strips += [Curve(a=foot, b=shape.ridge) for foot in shape.feet.values()]
    running_back = [s for s in running_back if not any(_in_line(s.curve, strip) for strip in strips)]
    halves: dict[str, Half] = {}
    for side, half in shape.halves.items():
        inner = half.legs[-1][1] if half.legs else shape.ridge + 0.3 * (half.edge - shape.ridge)
        edge = _corner(
            shape.ridge, half.edge, inner, running_back, TUNED.corner_within_mm if half.legs else 0.0
        )
        corner = edge is not None
        if edge is None and half.legs:
            # The seen end may belong to something behind: a leg stands near the edge more often than not.
            edge = _not_beyond(shape.ridge, half.edge, inner, TUNED.edge_beyond_leg_mm)
        halves[side] = half if edge is None else replace(half, edge=edge, corner=corner)
    pages = dict(shape.pages)
    for side, (inner, end) in shape.pages.items():
        on_page = halves[side].legs[-1][0] if side in halves and halves[side].legs else shape.feet[side]
        fore = _corner(inner, end, on_page, running_back)
        pages[side] = (inner, end if fore is None else fore)
    return replace(shape, halves=halves, pages=pages)


def _in_line(curve: Curve, strip: Curve) -> bool:
    """Whether a line runs along a strip: a strip seen edge-on aims at the eye, too."""
    ends = (np.array([curve.a, curve.b]) - strip.a) @ strip.normal
    return bool(np.max(np.abs(ends)) < TUNED.in_line_mm)


def _corner(
    start: Array, end: Array, joint: Array, running_back: Sequence[Stripe], within_mm: float = 0.0
) -> Array | None:
    """Where, on the line from start to end, the strongest edge running back from it begins; beyond a joint.

    `within_mm` limits how far beyond, and prefers the nearer; 0 does not.
    """
    line = Curve(a=start, b=end)
    least = float((joint - start) @ line.tangent) - TUNED.joint_slack_mm
    best: tuple[float, Array] | None = None
    for s in running_back:
        gaps = [abs(float((p - start) @ line.normal)) for p in (s.curve.a, s.curve.b)]
        at = crossing(s.curve, line)
        beyond = float((at - start) @ line.tangent) - least
        if min(gaps) > TUNED.corner_gap_mm or beyond < 0.0 or (within_mm and beyond > within_mm):
            continue
        score = s.score - TUNED.gap_cost * max(min(gaps) - TUNED.free_gap_mm, 0.0)
        score -= TUNED.corner_cost * beyond if within_mm else 0.0
        if best is None or score > best[0]:
            best = (score, at)
    return None if best is None else best[1]


def _not_beyond(start: Array, end: Array, joint: Array, room_mm: float) -> Array:
    """Return the end, or the place `room_mm` beyond the joint if that comes first."""
    way = (end - start) / float(np.hypot(*(end - start)))
    reach = min(float((end - start) @ way), float((joint - start) @ way) + room_mm)
    out: Array = start + reach * way
    return out
