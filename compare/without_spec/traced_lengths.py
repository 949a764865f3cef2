"""Lengths and angles of a dummy measured without a design, as quantities over its joints."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from compare.quantities.joint_quantities import Joints
from compare.quantities.quantity import Inputs, Quantity
from compare.vocabulary import Kind, Told, named, told_of
from measure.layout import Panel, Role
from measure.sides import SIDES, opposite
from measure.tracing.measure_untold import Untold
from measure.tracing.trace_dummy import Traced


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TracedLengths:
    """What was measured.

    Attributes
    ----------
    lengths : name -> quantity, mm, along the card.
    angles : name -> quantity, rad: "opening", "fold left" and "leg left" (to the own page), "lean left".
    inputs : covariance of the inputs of all quantities.
    """

    lengths: Mapping[str, Quantity]
    angles: Mapping[str, Quantity]
    inputs: Inputs


def traced_lengths(untold: Untold) -> TracedLengths:
    """Return the lengths and angles of what was traced; what a joint is missing of is left out."""
    profile = untold.profile
    joints = Joints(profile, len(profile.cov_mm2), {})
    return TracedLengths(
        lengths={
            name: joints.distance(a, b) * _bow_factor(untold, name)
            for name, (a, b) in untold.traced.lengths.items()
            if joints.has(a, b)
        },
        angles=_angles(untold.traced, joints),
        inputs=Inputs(profile.cov_mm2, profile.cov_by_source),
    )


def _bow_factor(untold: Untold, name: str) -> float:
    """Return how much longer the card of a bowed strip is than its chord (1 = straight)."""
    extra = float(untold.profile.extra_arc_mm.get(name, 0.0))
    a, b = untold.traced.lengths[name]
    chord = float(np.hypot(*(untold.profile.at(b) - untold.profile.at(a))))
    return 1.0 + extra / chord if np.isfinite(extra) and chord > 0 else 1.0


def _angles(traced: Traced, joints: Joints) -> dict[str, Quantity]:
    """Return opening, angles of fold and legs to their pages, lean of the plane's halves, radians."""
    page: dict[str, Quantity] = {}
    if not traced.named:
        return _numbered_angles(traced, joints)
    for side in SIDES:
        panel = page_panel(traced, side)
        foot = named(Kind.INNER_FOOT, side)
        inner = panel.joints.index(foot)
        seen = [j for j in panel.joints[inner:-1] if joints.has(j)]
        if len(seen) > 1:
            page[side] = joints.direction(seen[0], seen[-1])
        elif joints.has(Kind.SPINE, foot):
            page[side] = joints.direction(Kind.SPINE, foot)
    if not traced.spine_seen and len(page) == 1:
        (side, along), *_ = page.items()
        page[opposite(side)] = _wrapped(along + np.pi)
    out: dict[str, Quantity] = {}
    if traced.spine_seen and len(page) == 2:
        opening = _wrapped(page["left"] - page["right"])
        out["opening"] = opening if opening.value > 0 else opening + 2 * np.pi  # a little over flat
    for side, along in sorted(page.items()):
        turn = 1.0 if side == "right" else -1.0
        for panel in traced.layout.panels:
            first, last = panel.joints[0], panel.joints[-1]
            if panel.side != side or panel.role is Role.PAGE:
                continue
            if panel.role is Role.PLANE:
                tops = [j for j in panel.joints[1:-1] if joints.has(j)]
                if tops and joints.has("ridge"):
                    lean = _wrapped(turn * (joints.direction("ridge", tops[-1]) - along))
                    out[told_of(Told.LEAN, side)] = lean
            elif joints.has(first, last):
                out[panel.name] = _wrapped(turn * (joints.direction(first, last) - along))
    return out


def _numbered_angles(traced: Traced, joints: Joints) -> dict[str, Quantity]:
    """Return angles of numbered panels to the page, counter-clockwise, radians."""
    feet = [j for j in joints_on_page(traced) if joints.has(j)]
    if len(feet) < 2:
        return {}
    along = joints.direction(feet[0], feet[-1])
    return {
        p.name: _wrapped(joints.direction(p.joints[0], p.joints[-1]) - along)
        for p in traced.layout.panels
        if p.role is not Role.PAGE and joints.has(p.joints[0], p.joints[-1])
    }


def page_panel(traced: Traced, side: str) -> Panel:
    """Return the page on a side."""
    return next(p for p in traced.layout.panels if p.role is Role.PAGE and p.side == side)


def joints_on_page(traced: Traced) -> list[str]:
    """Return the feet on the pages, from left to right."""
    left, right = (page_panel(traced, side) for side in SIDES)
    return [*reversed(left.joints[1:-1]), *right.joints[1:-1]]


def _wrapped(q: Quantity) -> Quantity:
    return Quantity(float(np.arctan2(np.sin(q.value), np.cos(q.value))), q.gradient)
