"""Can the design be built? Feet on the page, loops that assemble, sums that close."""

from dataclasses import replace

import numpy as np

from compare.compare_errors import SpecError
from compare.design.linkage.mechanism_draft import leg_names
from compare.design.linkage.pose import Pose
from compare.design.spec.parts import Construction
from compare.design.spec.spec import Spec
from compare.design.study.contact import floor_angles
from compare.design.study.feasible_space import check_space
from compare.design.study.soundness import stages_of, warnings_of
from measure.sides import SIDES


def _fail(spec: Spec, table: str, key: str, text: str) -> SpecError:
    return SpecError(f"{spec.source.where(table, key)}: {text}")


def _check_feet(spec: Spec) -> None:
    """Feet inside what they stand on and not on top of each other; leg tops inside the plane."""
    least = 2 * spec.card.thickness
    below = "page"
    room = {s: float(getattr(spec.base, f"page_{s}")) for s in SIDES}
    for tables, _, c in stages_of(spec):
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
    for tables, names, c in stages_of(spec):
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
    return replace(spec, warnings=warnings_of(spec))
