"""What a design does that its author may not want: sums, leans, legs that disagree, reach when shut."""

from dataclasses import replace
from typing import Final

import numpy as np

from compare.design.constructions.parallel_folds import mechanism_of_stages
from compare.design.linkage.mechanism import Loop
from compare.design.linkage.pose import heading
from compare.design.spec.parts import Construction
from compare.design.spec.spec import Spec
from compare.design.study.contact import binding_opening, first_contact
from compare.units import unit_of
from measure.sides import SIDES

CLOSING_SLACK: Final = 0.05  # mm; a spec is written to a tenth at best, so less is rounding of the drawing
LEAN_WORTH_SAYING: Final = 0.05  # degrees
OBLIQUE: Final = 0.2  # mm
ROUNDED_PHI: Final = np.radians(5.0)  # a rounded drawing binds so early that no stack of card notices


def stages_of(spec: Spec) -> list[tuple[str, str, Construction]]:
    """Return each construction with the prefix of its tables and of its names."""
    return [
        (f"stage[{i}]." if i else "", f"stage {i + 1} " if i else "", c) for i, c in enumerate(spec.stages)
    ]


def _unclosed(spec: Spec, loop: Loop) -> str:
    """Return the warning about one loop."""
    mechanism = spec.mechanism
    one, other = loop.sums(mechanism.lengths)
    unit = "degrees" if set(loop.one) <= mechanism.degrees else "mm"
    if loop.name == "feet":
        return (
            f"the design does not shut flat: foot + fold is {one:.4g} mm left and "
            f"{other:.4g} mm right; they should be equal"
        )
    return (
        f"the design does not shut flat: {loop.name}, {loop.words[0]} is {one:.4g} {unit} and "
        f"{loop.words[1]} is {other:.4g} {unit}; they should be equal"
    )


def disagreeing_legs(spec: Spec) -> dict[str, float]:
    """Legs that do not agree with what else holds their half, and how much longer each would have to be, mm.

    Of several legs under one half those are named that make no parallelogram; if all do, or none, every leg
    that does not fit on a plane held by the others.
    """
    phi = float(np.radians(spec.base.opening_deg))
    if spec.vfold is not None:
        stretch = spec.mechanism.solve({}, phi).stretch
        return {leg: float(v) for leg, v in stretch.items() if abs(float(v)) > CLOSING_SLACK}
    out: dict[str, float] = {}
    for k, (_, names, c) in enumerate(stages_of(spec)):
        for side in SIDES:
            legs = c.legs[side]
            if len(legs) < 2:
                continue
            fold: float = getattr(c.fold, side)
            odd = [
                abs(leg.leg - fold) > CLOSING_SLACK
                or abs(leg.plane_spacing - leg.page_spacing) > CLOSING_SLACK
                for leg in legs
            ]
            for i, leg in enumerate(legs):
                more = _needed(spec, k, names, side, i, phi) - leg.leg
                if abs(more) > CLOSING_SLACK and (odd[i] or all(odd) or not any(odd)):
                    out[f"{names}leg {i + 1} {side}"] = more
    return out


def _needed(spec: Spec, stage: int, names: str, side: str, i: int, phi: float) -> float:
    """Return how long a leg would have to be on a plane half held by the other legs, mm."""
    c = spec.stages[stage]
    others = tuple(leg for k, leg in enumerate(c.legs[side]) if k != i)
    stages = list(spec.stages[: stage + 1])
    stages[stage] = replace(c, legs={**c.legs, side: others})
    pose = mechanism_of_stages(spec.base, stages).solve({}, phi)
    leg = c.legs[side][i]
    page = pose.turns[f"page {side}" if stage == 0 else f"{_below(stage)}plane {side}"]
    foot = pose.joints[f"{names}inner foot {side}"] + leg.page_spacing * heading(page)
    top = pose.joints[f"{names}ridge"] + leg.plane_spacing * heading(pose.turns[f"{names}plane {side}"])
    return float(np.hypot(*(top - foot)))


def _below(stage: int) -> str:
    """Return the prefix of the stage below."""
    return "" if stage == 1 else f"stage {stage} "


def oblique_halves(spec: Spec) -> dict[str, float]:
    """Halves that are drawn oblique on purpose, and by how many mm.

    Leg longer than the fold by as much as the plane spacing exceeds the page spacing: the spread shuts all
    the same, which nobody draws by mistake.
    """
    out: dict[str, float] = {}
    for _, names, c in stages_of(spec):
        for side in SIDES:
            if side in c.supports or len(c.legs[side]) != 1:
                continue
            leg = c.legs[side][0]
            more, wider = leg.leg - float(getattr(c.fold, side)), leg.plane_spacing - leg.page_spacing
            if abs(more - wider) <= CLOSING_SLACK and abs(more) > OBLIQUE:
                out[f"{names}{side}"] = more
    return out


def shut_reach(spec: Spec, side: str) -> float:
    """How far card reaches from the spine towards a fore edge when shut, mm; nan if it cannot be told.

    From the chains of lengths that lie stretched then; a linkage without such chains is moved there.
    """
    mechanism = spec.mechanism
    n = mechanism.lengths
    sums = [float(r.total(n)) for r in mechanism.reaches if r.side == side]
    if sums:
        return max(sums)
    pose = mechanism.solve({}, np.array([2e-3]))
    far = [float(xy[0, 1]) for name, xy in pose.joints.items() if not name.startswith("fore edge")]
    return float(np.max(far))  # nan if any of it cannot be laid


def warnings_of(spec: Spec) -> tuple[str, ...]:
    """Things the design will do that its author may not want."""
    mechanism = spec.mechanism
    open_phi = float(np.radians(spec.base.opening_deg))
    unit = unit_of("mm")
    out = [
        _unclosed(spec, loop)
        for loop in mechanism.loops
        if abs(loop.error(mechanism.lengths)) > CLOSING_SLACK
    ]
    unclosed = bool(out)
    pose = mechanism.solve({}, open_phi)
    oblique = oblique_halves(spec)
    for half in mechanism.halves:
        lean = float(np.degrees(pose.lean[half.name]))
        if abs(lean) > LEAN_WORTH_SAYING and half.name not in oblique:
            at = f"at {spec.base.opening_deg:g} degrees"
            out.append(f"the {half.name} half leans {lean:+.1f} degrees by design {at}")
    for leg, more in disagreeing_legs(spec).items():
        how = "longer" if more > 0 else "shorter"
        rest = "for the V-fold's panel" if spec.vfold else "to agree with the other legs of its half"
        out.append(f"the {leg} would have to be {unit.words(abs(more))} {how} {rest}")
    for side in SIDES:
        reach = shut_reach(spec, side)
        spare = float(getattr(spec.base, f"page_{side}")) - reach
        if spare < 0:
            out.append(f"shut, the design sticks out {-spare:.1f} mm beyond the {side} fore edge")
        elif spare < spec.tolerance.clearance:
            out.append(f"shut, the design stays only {spare:.1f} mm inside the {side} fore edge")
    if unclosed or not spec.is_plain:
        phi = binding_opening(mechanism, None, open_phi)
        if phi > (0.0 if unclosed else ROUNDED_PHI):
            why = first_contact(mechanism, phi)
            out.append(
                f"card first jams at an opening of {np.degrees(phi):.0f} degrees" + (why and f": {why}")
            )
    return tuple(out)
