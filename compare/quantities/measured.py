"""From a measured profile to named lengths and angles, each with its gradient on all joints.

What a photo does not determine is left out and named with its reason. Where a later step needs such a
number all the same (the two feet one by one, to lay the dummy shut in the linkage) an assumed value with an
honest uncertainty is used and said to be assumed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import (
    FEET,
    End,
    Joints,
    bearing_joints,
    ends_of,
    misread_joints,
    seen_ends,
)
from compare.quantities.quantity import Inputs, Quantity
from compare.quantities.undetermined import Reason, Why
from compare.vocabulary import Kind, named, parsed
from measure.layout import Panel, Role
from measure.profile import Profile
from measure.reasons import WhyUnseen
from measure.sides import SIDES

FOOT_PLACEMENT_SD: Final = 0.5  # mm, a foot glued by eye on a pencil line; common practice, no source
PAGE_WIDTH_SD: Final = 0.3  # mm, a page cut with knife and ruler; common practice, no source
OPENING_SD: Final = np.radians(0.5)  # rad, a spread said to lie flat but not seen to
SPLIT_OF_FEET: Final = "assumed split of the feet"

ASSUMED: Final[Mapping[str, float]] = MappingProxyType(
    {
        SPLIT_OF_FEET: FOOT_PLACEMENT_SD,
        "assumed width of the left page": PAGE_WIDTH_SD,
        "assumed width of the right page": PAGE_WIDTH_SD,
        "assumed opening": float(OPENING_SD),
    }
)
"""Inputs that stand for what a photo does not show: source -> standard uncertainty, mm (opening: rad)."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measured:
    """Named lengths and angles of one dummy.

    Attributes
    ----------
    lengths : name -> quantity, mm; only what the photo determines.
    angles : name -> quantity, rad: "opening", "fold left", "leg left" (to the own page) ...
    lean : half of a plane -> quantity, rad; + = outer edge of the plane too high.
    working : all lengths the linkage needs, the assumed ones included.
    opening : the opening angle the linkage is solved at, rad.
    assumed : name -> what was assumed, for the numbers in `working` that were not measured.
    undetermined : length name -> reason.
    inputs : covariance of the inputs of all quantities.
    """

    lengths: Mapping[str, Quantity]
    angles: Mapping[str, Quantity]
    lean: Mapping[str, Quantity]
    working: Mapping[str, Quantity]
    opening: Quantity
    assumed: Mapping[str, Reason]
    undetermined: Mapping[str, Reason | WhyUnseen]
    inputs: Inputs

    def u(self, q: Quantity) -> float:
        """Return the standard uncertainty of a quantity."""
        return self.inputs.u(q)


def feet_lengths(mechanism: Mechanism) -> tuple[str, str] | None:
    """Return the lengths from the spine to the two inner feet, left and right, if "feet" is seen end-on."""
    ends = seen_ends(mechanism)
    if FEET not in ends:
        return None
    out = []
    for joint in ends[FEET]:
        from_spine = (k for k, (a, b) in ends.items() if a == "spine" and b == joint)
        out.append(next(from_spine, ""))
    return (out[0], out[1]) if all(out) else None


def _sums(mechanism: Mechanism) -> dict[str, tuple[str, ...]]:
    """Return distances that are the sum of two lengths over a spine (feet): name -> the two."""
    out: dict[str, tuple[str, ...]] = {}
    ends = seen_ends(mechanism)
    for name, (a, b) in ends.items():
        if name in mechanism.lengths:
            continue
        to_a = {p: k for k, (p, q) in ends.items() if q == a and k in mechanism.lengths}
        to_b = {p: k for k, (p, q) in ends.items() if q == b and k in mechanism.lengths}
        common = [p for p in to_a if p in to_b]
        out[name] = (to_a[common[0]], to_b[common[0]]) if common else ()
    return out


def _bow_factor(profile: Profile, joints: Joints, on_panel: tuple[str, ...], panel: str) -> float:
    """Return how much longer the card of a panel is than the sum of its chords (1 = straight)."""
    extra = float(profile.extra_arc_mm.get(panel, 0.0))
    seen = [j for j in on_panel if joints.has(j)]
    if not np.isfinite(extra) or extra == 0 or len(seen) < 2:
        return 1.0
    xy = np.array([profile.at(j) for j in seen])
    span = float(np.max(np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))))
    return 1.0 + extra / span


def _wrapped(q: Quantity) -> Quantity:
    """Return an angle brought into (-pi, pi]."""
    return Quantity(float(np.arctan2(np.sin(q.value), np.cos(q.value))), q.gradient)


def _direction(joints: Joints, mechanism: Mechanism, panel: Panel) -> Quantity | None:
    """Return the direction of a panel outwards, from two of its joints; None if too few are seen.

    Pages: from foot to foot if possible, else out to the fore edge, else from the spine. Planes: from the
    ridge to the outermost leg. All others: from end to end.
    """
    bearing = [j for j in bearing_joints(mechanism, panel) if joints.has(j)]
    if panel.role is Role.PAGE:
        bearing = [j for j in panel.joints[:-1] if joints.has(j)]
        feet = [j for j in bearing if j != "spine"]
        edge = [j for j in panel.joints[-1:] if joints.has(j)]
        for run in (feet, feet[:1] + edge, bearing):
            if len(run) >= 2:
                return joints.direction(run[0], run[-1])
        return None
    if not bearing or bearing[0] != panel.joints[0]:
        return None
    if len(bearing) < 2 and panel.role is Role.PLANE and joints.has(panel.joints[-1]):
        bearing.append(panel.joints[-1])
    return joints.direction(bearing[0], bearing[-1]) if len(bearing) >= 2 else None


def _one_base_line(joints: Joints, mechanism: Mechanism) -> dict[str, Quantity | None]:
    """Return the directions of the pages of a flat base that shows one joint on either page: one line."""
    on = {
        p.name: [j for j in p.joints if joints.has(j) and j != Kind.SPINE]
        for p in mechanism.panels
        if p.role is Role.PAGE
    }
    pages = [named(Kind.PAGE, side) for side in SIDES]
    left, right = (on.get(page) for page in pages)
    if not left or not right:
        return {}
    line = joints.direction(left[0], right[0])
    return {pages[1]: line, pages[0]: line + np.pi}


def _angles(
    joints: Joints, mechanism: Mechanism, along: Mapping[str, Quantity | None]
) -> tuple[dict[str, Quantity], dict[str, Quantity]]:
    """Angles of folds and legs (to the own page) and lean of the plane, by panel and by half."""
    angles: dict[str, Quantity] = {}
    lean: dict[str, Quantity] = {}
    for panel, floor in mechanism.floors.items():
        side = parsed(floor).side
        own, page = along.get(panel), along.get(named(Kind.PAGE, side))
        if own is not None and page is not None:
            turn = 1.0 if side == "right" else -1.0  # angles count from the page towards the inside
            angles[panel] = _wrapped(turn * (own - page))
    for half in mechanism.halves:
        own, page = along.get(half.plane), along.get(half.page)
        if own is not None and page is not None:
            turn = 1.0 if half.side == "right" else -1.0
            lean[half.name] = _wrapped(turn * (own - page))
    return angles, lean


def _with_assumed_feet(
    spec: Spec, lengths: Mapping[str, Quantity], opening: Quantity, split: Array
) -> tuple[dict[str, Quantity], dict[str, Reason]]:
    """Return foot left and right: measured, or the measured distance of the feet shared out as designed."""
    names = feet_lengths(spec.mechanism)
    if names is None:
        return {}, {}
    if all(n in lengths for n in names):
        return {n: lengths[n] for n in names}, {}
    nominal = spec.mechanism.lengths
    if FEET in lengths:
        feet, whole = lengths[FEET], nominal_lengths(spec, opening.value)[FEET]
        parts = [
            Quantity(nominal[n] * feet.value / whole, feet.gradient * (nominal[n] / whole) + sign * split)
            for n, sign in zip(names, (-1.0, 1.0), strict=True)
        ]
        why = Reason(Why.FEET_SHARED_OUT)
    else:
        parts = [Quantity(nominal[n], sign * split) for n, sign in zip(names, (-1.0, 1.0), strict=True)]
        why = Reason(Why.FROM_DESIGN)
    return dict(zip(names, parts, strict=True)), {n: why for n in names}


def _from_the_feet(
    mechanism: Mechanism, joints: Joints, working: Mapping[str, Quantity]
) -> dict[str, Quantity]:
    """Other lengths that begin at an unseen spine (a hinge): the foot of their side and the way from it."""
    names, ends = feet_lengths(mechanism), seen_ends(mechanism)
    out: dict[str, Quantity] = {}
    for foot, inner in zip(names or (), ends.get(FEET, ()), strict=False):
        side = parsed(inner).side
        for k, (a, b) in ends.items():
            n = parsed(b)
            mine = a == Kind.SPINE and n.side == side and k in mechanism.lengths and n.kind != Kind.FORE_EDGE
            if mine and k not in working and foot in working and joints.has(inner, b):
                out[k] = working[foot] + joints.distance(inner, b)
    return out


def nominal_lengths(spec: Spec, opening: float | None = None) -> dict[str, float]:
    """Nominal lengths by name, mm; only those that an end-on photo can show.

    "feet" is the distance of the inner feet at the opening as measured (rad), else at the nominal one: a
    spread propped open a little wider shows its feet farther apart, and that is nobody's fault.
    """
    mechanism = spec.mechanism
    nominal = float(np.radians(spec.base.opening_deg))
    phi = nominal if opening is None or not 0 < opening < np.pi else opening
    out: dict[str, float] = {}
    ends = seen_ends(mechanism)
    sums = [k for k in ends if k not in mechanism.lengths]
    if sums:
        joints = mechanism.solve({}, phi).joints
        for name in sums:
            a, b = ends[name]
            out[name] = float(np.hypot(*(joints[b] - joints[a])))
    return out | {k: v for k, v in mechanism.lengths.items() if k in mechanism.ends}


def _missing(profile: Profile, *names: str) -> Reason | WhyUnseen:
    """Return why these joints are not there."""
    why = [profile.undetermined[n] for n in names if n in profile.undetermined]
    if why:
        return why[0]
    gone = [n for n in names if n not in profile.joints]
    return Reason(Why.JOINT_NOT_FOUND, (gone[0],)) if gone else Reason(Why.NOT_SEEN)


def _lengths(
    profile: Profile,
    joints: Joints,
    mechanism: Mechanism,
    ends: Mapping[str, End],
    misread: Mapping[str, Reason],
) -> tuple[dict[str, Quantity], dict[str, Reason | WhyUnseen]]:
    """Lengths as measured, along the card, and the reason for each that is not."""
    lengths: dict[str, Quantity] = {}
    undetermined: dict[str, Reason | WhyUnseen] = {}
    sums = _sums(mechanism)
    on = {p.name: p.joints for p in mechanism.panels}
    for name in [*sums, *(k for k in mechanism.lengths if k in ends)]:
        end = ends[name]
        if joints.has(end.first, end.second):
            bow = _bow_factor(profile, joints, on[end.panel], end.panel) if end.panel else 1.0
            lengths[name] = joints.distance(end.first, end.second) * bow
        else:
            undetermined[name] = (
                misread.get(end.first) or misread.get(end.second) or _missing(profile, end.first, end.second)
            )
    return lengths, undetermined


def measured_of(profile: Profile, spec: Spec) -> Measured:
    """Named lengths and angles of a profile.

    Parameters
    ----------
    profile : joints with their joint covariance (sheet coordinates, mm).
    spec : the design: which lengths there are, and nominal values where something must be assumed.

    Returns
    -------
    Measured, all quantities over the inputs (2J coordinates of the joints, then the assumed values).
    """
    mechanism = spec.mechanism
    inputs = Inputs(profile.cov_mm2, profile.cov_by_source)
    for name, sd in ASSUMED.items():
        inputs = inputs.extended(name, sd)
    n = len(inputs.cov)
    unit = np.eye(n)[-len(ASSUMED) :]
    misread = misread_joints(profile, mechanism)
    joints = Joints(profile, n, misread)
    along = {p.name: _direction(joints, mechanism, p) for p in mechanism.panels}
    pages = [named(Kind.PAGE, side) for side in SIDES]
    if spec.base.opening_deg == 180.0 and along[pages[0]] is along[pages[1]] is None:
        along |= _one_base_line(joints, mechanism)
    lengths, undetermined = _lengths(profile, joints, mechanism, ends_of(mechanism), misread)
    for name, parts in _sums(mechanism).items():
        flat = name == FEET and spec.base.opening_deg == 180.0
        if name in lengths and parts and all(p in lengths for p in parts) and not flat:
            del lengths[name]  # not a length of card, and told by the two feet and the opening
    angles, lean = _angles(joints, mechanism, along)
    assumed: dict[str, Reason] = {}
    left, right = (along[page] for page in pages)
    if left is not None and right is not None:
        opening = _wrapped(left - right)
        if opening.value < 0:  # a little over flat
            opening = opening + 2 * np.pi
        angles = {"opening": opening, **angles}
    else:
        opening = Quantity(float(np.radians(spec.base.opening_deg)), unit[3])
        assumed["opening"] = Reason(Why.OPENING_FROM_DESIGN)
    feet, why = _with_assumed_feet(spec, lengths, opening, unit[0])
    assumed |= why
    working = {**{k: v for k, v in lengths.items() if k in mechanism.lengths}, **feet}
    more = _from_the_feet(mechanism, joints, working)
    working |= more
    assumed |= dict.fromkeys(more, Reason(Why.COUNTED_FROM_FOOT))
    for i, side in enumerate(SIDES, start=1):
        page = named(Kind.PAGE, side)
        if page in mechanism.lengths and page not in working:
            working[page] = Quantity(mechanism.lengths[page], unit[i])
            assumed[page] = Reason(Why.PAGE_FROM_DESIGN)
    for name in mechanism.lengths:  # a plane edge that is not seen: nothing is known but the design
        end = mechanism.ends.get(name, ("", ""))[1]
        if name not in working and parsed(end).kind == Kind.PLANE_EDGE:
            assumed[name] = Reason(Why.EDGE_NOT_SEEN)
    return Measured(
        lengths=lengths,
        angles=angles,
        lean=lean,
        working=working,
        opening=opening,
        assumed=assumed,
        undetermined=undetermined,
        inputs=inputs,
    )
