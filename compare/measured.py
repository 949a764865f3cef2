"""From a measured profile to named lengths and angles, each with its gradient on all joints.

What a photo does not determine is left out and named with its reason. Where a later step needs such a
number all the same (the two feet one by one, to lay the dummy shut in the linkage) an assumed value with an
honest uncertainty is used and said to be assumed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from compare.design.linkage import SIDES, solve
from compare.design.spec import Spec
from compare.joints import ENDS, Joints, misread_joints
from compare.quantity import Inputs, Quantity, chain
from measure.profile import Profile

Array = NDArray[np.float64]

FOOT_PLACEMENT_SD: Final = 0.5  # mm, a foot glued by eye on a pencil line; common practice, no source
PAGE_WIDTH_SD: Final = 0.3  # mm, a page cut with knife and ruler; common practice, no source
OPENING_SD: Final = np.radians(0.5)  # rad, a spread said to lie flat but not seen to


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measured:
    """Named lengths and angles of one dummy.

    Attributes
    ----------
    lengths : name -> quantity, mm; only what the photo determines.
    angles : name -> quantity, rad: "opening", "fold left", "leg left" (to the own page) ...
    lean : side -> quantity, rad; + = outer edge of the plane too high.
    working : all lengths the linkage needs, the assumed ones included.
    opening : the opening angle the linkage is solved at, rad.
    assumed : name -> what was assumed and why, for the numbers in `working` that were not measured.
    undetermined : length name -> reason.
    inputs : covariance of the inputs of all quantities.
    """

    lengths: Mapping[str, Quantity]
    angles: Mapping[str, Quantity]
    lean: Mapping[str, Quantity]
    working: Mapping[str, Quantity]
    opening: Quantity
    assumed: Mapping[str, str]
    undetermined: Mapping[str, str]
    inputs: Inputs

    def u(self, q: Quantity) -> float:
        """Return the standard uncertainty of a quantity."""
        return self.inputs.u(q)


def _bow_factor(profile: Profile, joints: Joints, panel: str) -> float:
    """Return how much longer the card of a panel is than the sum of its chords (1 = straight)."""
    extra = float(profile.extra_arc_mm.get(panel, 0.0))
    on_panel = dict.fromkeys(j for p, a, b in ENDS.values() if p == panel for j in (a, b))
    seen = [j for j in on_panel if joints.has(j)]
    if not np.isfinite(extra) or extra == 0 or len(seen) < 2:
        return 1.0
    xy = np.array([profile.at(j) for j in seen])
    span = float(np.max(np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))))
    return 1.0 + extra / span


def _wrapped(q: Quantity) -> Quantity:
    """Return an angle brought into (-pi, pi]."""
    return Quantity(float(np.arctan2(np.sin(q.value), np.cos(q.value))), q.gradient)


def _page_direction(joints: Joints, side: str) -> Quantity | None:
    """Return the direction of a page, outwards, from two joints on it; None if too few are seen."""
    inner, outer = f"inner foot {side}", f"outer foot {side}"
    for a, b in ((inner, outer), (inner, f"fore edge {side}"), ("spine", inner)):
        if joints.has(a, b):
            return joints.direction(a, b)
    return None


def _missing(profile: Profile, *names: str) -> str:
    """Return why these joints are not there, in plain words."""
    why = [profile.undetermined[n] for n in names if n in profile.undetermined]
    if why:
        return why[0]
    gone = [n for n in names if n not in profile.joints]
    return f"the {gone[0]} was not found in the photo" if gone else "not seen"


def _angles(
    joints: Joints, sides: tuple[str, ...], page: Mapping[str, Quantity | None]
) -> tuple[dict[str, Quantity], dict[str, Quantity]]:
    """Angles of fold, leg (to the own page) and lean of the plane, by name and by side."""
    angles: dict[str, Quantity] = {}
    lean: dict[str, Quantity] = {}
    for side in SIDES:
        along = page[side]
        if along is None:
            continue
        turn = 1.0 if side == "right" else -1.0  # angles count from the page towards the inside
        if joints.has(f"inner foot {side}", "ridge"):
            angles[f"fold {side}"] = _wrapped(
                turn * (joints.direction(f"inner foot {side}", "ridge") - along)
            )
        if side not in sides:
            continue
        if joints.has(f"outer foot {side}", f"leg top {side}"):
            leg = joints.direction(f"outer foot {side}", f"leg top {side}")
            angles[f"leg {side}"] = _wrapped(turn * (leg - along))
        if joints.has("ridge", f"leg top {side}"):
            lean[side] = _wrapped(turn * (joints.direction("ridge", f"leg top {side}") - along))
    return angles, lean


def _with_assumed_feet(
    spec: Spec, lengths: Mapping[str, Quantity], opening: Quantity, split: Array
) -> tuple[dict[str, Quantity], dict[str, str]]:
    """Return foot left and right: measured, or the measured distance of the feet shared out as designed."""
    names = ("foot left", "foot right")
    if all(n in lengths for n in names):
        return {n: lengths[n] for n in names}, {}
    nominal = spec.lengths()
    if "feet" in lengths:
        feet = lengths["feet"]
        share = feet.value / _nominal_feet(spec, opening.value)
        half_rate = nominal["foot left"] / _nominal_feet(spec, opening.value)
        other_rate = nominal["foot right"] / _nominal_feet(spec, opening.value)
        left = Quantity(nominal["foot left"] * share, feet.gradient * half_rate - split)
        right = Quantity(nominal["foot right"] * share, feet.gradient * other_rate + split)
        why = "the spine is not seen: the distance of the two feet is shared out as in the design"
    else:
        left, right = Quantity(nominal["foot left"], -split), Quantity(nominal["foot right"], split)
        why = "not seen: taken from the design"
    return {"foot left": left, "foot right": right}, {n: why for n in names}


def _nominal_feet(spec: Spec, phi: float) -> float:
    """Return the distance of the inner feet of the design at this opening, mm."""
    joints = solve(spec.lengths(), phi).joints
    return float(np.hypot(*(joints["inner foot right"] - joints["inner foot left"])))


def nominal_lengths(spec: Spec, opening: float | None = None) -> dict[str, float]:
    """Nominal lengths by name, mm.

    "feet" is the distance of the inner feet at the opening as measured (rad), else at the nominal one: a
    spread propped open a little wider shows its feet farther apart, and that is nobody's fault.
    """
    nominal = float(np.radians(spec.base.opening_deg))
    phi = nominal if opening is None or not 0 < opening < np.pi else opening
    return {"feet": _nominal_feet(spec, phi), **spec.lengths()}


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
    inputs = Inputs(profile.cov_mm2, profile.cov_by_source)
    for name, sd in (
        ("assumed split of the feet", FOOT_PLACEMENT_SD),
        ("assumed width of the left page", PAGE_WIDTH_SD),
        ("assumed width of the right page", PAGE_WIDTH_SD),
        ("assumed opening", float(OPENING_SD)),
    ):
        inputs = inputs.extended(name, sd)
    n = len(inputs.cov)
    unit = np.eye(n)[-4:]
    misread = misread_joints(profile)
    joints = Joints(profile, n, misread)
    nominal = nominal_lengths(spec)
    page = {s: _page_direction(joints, s) for s in SIDES}
    lengths: dict[str, Quantity] = {}
    undetermined: dict[str, str] = {}
    for name in nominal:
        panel, a, b = ENDS[name]
        if joints.has(a, b):
            lengths[name] = joints.distance(a, b) * (_bow_factor(profile, joints, panel) if panel else 1.0)
        else:
            undetermined[name] = misread.get(a) or misread.get(b) or _missing(profile, a, b)
    if "foot left" in lengths and "foot right" in lengths and spec.base.opening_deg != 180.0:
        del lengths["feet"]  # not a length of card, and told by the two feet and the opening
    angles, lean = _angles(joints, spec.sides, page)
    assumed: dict[str, str] = {}
    left, right = page["left"], page["right"]
    if left is not None and right is not None:
        opening = _wrapped(left - right)
        if opening.value < 0:  # a little over flat
            opening = opening + 2 * np.pi
        angles = {"opening": opening, **angles}
    else:
        opening = Quantity(float(np.radians(spec.base.opening_deg)), unit[3])
        assumed["opening"] = "both pages are not seen well enough: taken from the design"
    feet, why = _with_assumed_feet(spec, lengths, opening, unit[0])
    assumed |= why
    working = {**{k: v for k, v in lengths.items() if k != "feet"}, **feet}
    for i, side in enumerate(SIDES, start=1):
        if f"page {side}" not in working:
            working[f"page {side}"] = Quantity(nominal[f"page {side}"], unit[i])
            assumed[f"page {side}"] = "the page is not seen from spine to fore edge: taken from the design"
    for side in spec.sides:  # a plane edge that is not seen: nothing is known but the design
        if f"plane {side}" not in working:
            assumed[f"plane {side}"] = "the outer edge of the plane is not seen"
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


def through_linkage(measured: Measured, side: str) -> Quantity | None:
    """Lean of one half as the linkage has it for the measured lengths, rad; None if one is missing."""
    from compare.design.linkage import lean_gradient

    needed = linkage_lengths(side)
    if any(k not in measured.working for k in needed):
        return None
    values = {k: measured.working[k].value for k in needed}
    rates = lean_gradient(values, measured.opening.value, side)
    lean = float(solve(values, measured.opening.value).lean[side])
    if not np.isfinite(lean):
        return None
    parts = [*(measured.working[k] for k in needed), measured.opening]
    return chain(lean, [*(rates[k] for k in needed), rates["opening"]], parts)


def linkage_lengths(side: str) -> tuple[str, ...]:
    """Lengths that decide the lean of one half, in the order they are reported."""
    other = "left" if side == "right" else "right"
    return (
        f"leg {side}",
        f"fold {side}",
        f"plane spacing {side}",
        f"page spacing {side}",
        f"foot {side}",
        f"foot {other}",
        f"fold {other}",
    )
