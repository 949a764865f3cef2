"""Can the design be built? Feet on the page, loops that assemble, sums that close."""

from dataclasses import replace
from typing import Final

import numpy as np

from compare.design.assemble import leg_names, mechanism_of_stages
from compare.design.contact import binding_opening, first_contact, floor_angles
from compare.design.feasible_space import check_space
from compare.design.mechanism import Loop
from compare.design.parts import Construction
from compare.design.pose import Pose, heading
from compare.design.spec import Spec
from compare.errors import SpecError
from compare.units import unit_of

SIDES: Final = ("left", "right")
CLOSING_SLACK: Final = 0.05  # mm; a spec is written to a tenth at best, so less is rounding of the drawing
LEAN_WORTH_SAYING: Final = 0.05  # degrees
OBLIQUE: Final = 0.2  # mm
ROUNDED_PHI: Final = np.radians(5.0)  # a rounded drawing binds so early that no stack of card notices


def _fail(spec: Spec, table: str, key: str, text: str) -> SpecError:
    return SpecError(f"{spec.source.where(table, key)}: {text}")


def _stages(spec: Spec) -> list[tuple[str, str, Construction]]:
    """Return each construction with the prefix of its tables and of its names."""
    return [
        (f"stage[{i}]." if i else "", f"stage {i + 1} " if i else "", c) for i, c in enumerate(spec.stages)
    ]


def _check_feet(spec: Spec) -> None:
    """Feet inside what they stand on and not on top of each other; leg tops inside the plane."""
    least = 2 * spec.card.thickness
    below = "page"
    room = {s: float(getattr(spec.base, f"page_{s}")) for s in SIDES}
    for tables, _, c in _stages(spec):
        for side in SIDES:
            _check_side(spec, tables, c, side, room[side], below, least)
        room = {s: float(getattr(c.plane, s)) for s in SIDES}
        below = "plane below"


def _check_side(
    spec: Spec, tables: str, c: Construction, side: str, room: float, below: str, least: float
) -> None:
    """Check the feet and tops of one side of one construction."""
    tab = spec.card.tab
    if side in c.supports:
        path, key, foot = f"{tables}{side}", "foot", c.supports[side].foot
    else:
        path, key, foot = f"{tables}fold", f"foot_{side}", getattr(c.fold, f"foot_{side}")
    if foot >= room:
        text = f"the foot at {foot:g} mm lies beyond the {below} ({room:g} mm)"
        raise _fail(spec, path, key, text)
    if tab > foot + 1e-9:
        text = f"the gluing tab of {tab:g} mm ([card] tab) of the foot at {foot:g} mm would cross the spine"
        raise _fail(spec, path, key, text)
    width: float = getattr(c.plane, side)
    for i, leg in enumerate(c.legs[side], start=1):
        table = f"{tables}{side}" if len(c.legs[side]) == 1 else f"{tables}{side}.legs[{i}]"
        at = foot + leg.page_spacing
        if leg.page_spacing < least:
            text = f"{leg.page_spacing:g} mm: the leg's foot would lie on the fold's foot"
            raise _fail(spec, table, "page_spacing", text)
        if at >= room:
            text = (
                f"the leg's foot at {foot:g} + {leg.page_spacing:g} = {at:g} mm "
                f"lies beyond the {below} ({room:g} mm)"
            )
            raise _fail(spec, table, "page_spacing", text)
        if leg.plane_spacing > width:
            text = (
                f"the leg's top at {leg.plane_spacing:g} mm lies beyond the plane's edge "
                f"([{tables}plane] {side} = {width:g} mm)"
            )
            raise _fail(spec, table, "plane_spacing", text)
    other = "left" if side == "right" else "right"
    if other in c.supports and c.supports[other].tab == 0:
        text = "a support glued to the ridge is a side of the fold: write it as [fold] instead"
        raise _fail(spec, f"{tables}{other}", "tab", text)
    if other in c.supports and -c.supports[other].tab >= foot:
        text = (
            f"the tab at {c.supports[other].tab:g} mm must lie nearer to the ridge than the fold's foot to "
            f"the spine ({foot:g} mm), or the plane cannot follow the pages"
        )
        raise _fail(spec, f"{tables}{other}", "tab", text)
    if other in c.supports and c.supports[other].tab > width:
        text = f"the tab at {c.supports[other].tab:g} mm lies beyond the plane's edge ({width:g} mm)"
        raise _fail(spec, f"{tables}{other}", "tab", text)
    if side in c.flaps:
        hinge, last = c.flaps[side].hinge, foot + max(leg.page_spacing for leg in c.legs[side])
        if not last < hinge < room:
            text = (
                f"the hinge at {hinge:g} mm must lie between the leg's foot ({last:g} mm) "
                f"and the fore edge ({room:g} mm)"
            )
            raise _fail(spec, f"{tables}{side}.flap", "hinge", text)


def _check_assembly(spec: Spec) -> None:
    """Refuse loops that do not close at the stated opening, above the page."""
    mechanism = spec.mechanism
    pose = mechanism.solve({}, np.radians(spec.base.opening_deg))
    angles = {k: float(v) for k, v in floor_angles(mechanism, pose).items()}
    at = f"at {spec.base.opening_deg:g} degrees"
    for tables, names, c in _stages(spec):
        if not c.supports:
            _check_fold(spec, tables, names, c, pose)
        for side in SIDES:
            if side in c.supports:
                if not np.isfinite(angles[f"{names}support {side}"]):
                    raise _fail(
                        spec, f"{tables}{side}", "support", f"fold, plane and support cannot meet {at}"
                    )
                if angles[f"{names}support {side}"] <= 0:
                    raise _fail(
                        spec, f"{tables}{side}", "support", f"it would have to lie below the page {at}"
                    )
                continue
            if angles[f"{names}fold {side}"] <= 0:
                raise _fail(spec, f"{tables}fold", side, f"this side would have to lie below the page {at}")
            for i, leg in zip(leg_names(len(c.legs[side])), c.legs[side], strict=True):
                table = f"{tables}{side}" if not i else f"{tables}{side}.legs[{i.strip()}]"
                sums = (
                    f"fold {getattr(c.fold, side):g}, page spacing {leg.page_spacing:g}, leg {leg.leg:g}, "
                    f"plane spacing {leg.plane_spacing:g} mm"
                )
                if not np.isfinite(angles[f"{names}leg{i} {side}"]):
                    raise _fail(spec, table, "", f"the loop cannot be assembled {at}: {sums}")
                if angles[f"{names}leg{i} {side}"] <= 0:
                    raise _fail(spec, table, "leg", f"the leg would have to lie below the page {at}: {sums}")
            if side in c.flaps and not np.isfinite(angles[f"{names}flap {side}"]):
                flap = c.flaps[side]
                text = f"flap {flap.flap:g} and strap {flap.strap:g} mm cannot meet {at}"
                raise _fail(spec, f"{tables}{side}.flap", "strap", text)
    for joint, xy in pose.joints.items():
        if not np.all(np.isfinite(xy)):
            raise SpecError(
                f"{spec.source.name}: the design cannot be assembled {at}: nothing holds the {joint}"
            )


def _check_fold(spec: Spec, tables: str, names: str, c: Construction, pose: Pose) -> None:
    """Refuse a fold whose sides cannot meet over its feet."""
    feet = pose.joints[f"{names}inner foot right"] - pose.joints[f"{names}inner foot left"]
    across = float(np.hypot(*feet))
    at = f"at {spec.base.opening_deg:g} degrees"
    sides = f"sides of {c.fold.left:g} and {c.fold.right:g} mm"
    if c.fold.left + c.fold.right <= across:
        text = (
            f"{sides} cannot reach between feet {across:.4g} mm apart {at}; "
            "lengthen the fold or bring its feet nearer to the spine"
        )
        raise _fail(spec, f"{tables}fold", "left", text)
    if not np.all(np.isfinite(pose.joints[f"{names}ridge"])):
        text = (
            f"{sides} cannot meet over feet {across:.4g} mm apart {at}: "
            "they differ by more than the feet are apart"
        )
        raise _fail(spec, f"{tables}fold", "left", text)


def _check_names(spec: Spec) -> None:
    """Refuse tolerances for lengths the design does not have."""
    known = spec.mechanism.lengths
    for table, named in (
        ("tolerance.lengths", spec.tolerance.lengths),
        ("tolerance.spreads", spec.tolerance.spreads),
    ):
        for name in named:
            if name not in known:
                raise _fail(spec, table, name, f"the design has no such length; it has {', '.join(known)}")


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


def _warnings(spec: Spec) -> tuple[str, ...]:
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
    for k, (_, names, c) in enumerate(_stages(spec)):
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
    for _, names, c in _stages(spec):
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
    return max(far)


def checked(spec: Spec) -> Spec:
    """Return the spec with its design warnings.

    Raises
    ------
    SpecError : a foot beyond the page, feet on each other, a tab over the spine, or a loop that cannot be
        assembled.
    """
    check_space(spec)
    _check_feet(spec)
    _check_names(spec)
    _check_assembly(spec)
    return replace(spec, warnings=_warnings(spec))
