"""Can a parallel fold be built? Feet on what it stands on, tops under the plane, loops that assemble."""

from collections.abc import Mapping

import numpy as np

from compare.design.constructions.flap.flap_checks import check_flap_meets, check_hinge
from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.support.support_checks import check_support_meets, check_support_top
from compare.design.linkage.pose import Pose
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, leg_numbers, named
from measure.sides import SIDES


def check_side(spec: Spec, tables: str, c: Stage, side: str, room: float, below: str) -> None:
    """Check the feet and tops of one side of one fold.

    Parameters
    ----------
    tables : prefix of its tables; room : width of what it stands on, which is called `below`, mm.

    Raises
    ------
    SpecError : a foot beyond the page or on another foot, a tab over the spine, a top beyond the plane.
    """
    least = 2 * spec.card.thickness
    tab = spec.card.tab
    if side in c.supports:
        path, key, foot = f"{tables}{side}", "foot", c.supports[side].foot
    else:
        path, key, foot = f"{tables}fold", f"foot_{side}", c.fold.foot(side)
    if foot >= room:
        text = f"the foot at {foot:g} mm lies beyond the {below} ({room:g} mm)"
        raise spec.fail(path, key, text)
    if tab > foot + 1e-9:
        text = f"the gluing tab of {tab:g} mm ([card] tab) of the foot at {foot:g} mm would cross the spine"
        raise spec.fail(path, key, text)
    width = c.plane.half(side)
    for i, leg in enumerate(c.legs[side], start=1):
        table = f"{tables}{side}" if len(c.legs[side]) == 1 else f"{tables}{side}.legs[{i}]"
        at = foot + leg.page_spacing
        if leg.page_spacing < least:
            text = f"{leg.page_spacing:g} mm: the leg's foot would lie on the fold's foot"
            raise spec.fail(table, "page_spacing", text)
        if at >= room:
            text = (
                f"the leg's foot at {foot:g} + {leg.page_spacing:g} = {at:g} mm "
                f"lies beyond the {below} ({room:g} mm)"
            )
            raise spec.fail(table, "page_spacing", text)
        if leg.plane_spacing > width:
            text = (
                f"the leg's top at {leg.plane_spacing:g} mm lies beyond the plane's edge "
                f"([{tables}plane] {side} = {width:g} mm)"
            )
            raise spec.fail(table, "plane_spacing", text)
    other = "left" if side == "right" else "right"
    if other in c.supports:
        check_support_top(spec, f"{tables}{other}", c.supports[other], foot, width)
    if side in c.flaps:
        check_hinge(spec, f"{tables}{side}.flap", c.flaps[side], foot, c.legs[side], room)


def check_assembly(
    spec: Spec, tables: str, stage: int, c: Stage, pose: Pose, angles: Mapping[str, float]
) -> None:
    """Refuse a fold whose loops do not close at the stated opening, above the page.

    Parameters
    ----------
    tables : prefix of its tables; stage : its number, from 1; angles : of every panel to what it stands on.

    Raises
    ------
    SpecError : what cannot meet, with its lengths.
    """
    at = f"at {spec.base.opening_deg:g} degrees"
    if not c.supports:
        _check_fold(spec, tables, stage, c, pose)
    for side in SIDES:
        if side in c.supports:
            check_support_meets(spec, f"{tables}{side}", angles[named(Kind.SUPPORT, side, stage=stage)], at)
            continue
        if angles[named(Kind.FOLD, side, stage=stage)] <= 0:
            raise spec.fail(f"{tables}fold", side, f"this side would have to lie below the page {at}")
        for i, leg in zip(leg_numbers(len(c.legs[side])), c.legs[side], strict=True):
            table = f"{tables}{side}" if not i else f"{tables}{side}.legs[{i}]"
            sums = (
                f"fold {c.fold.side(side):g}, page spacing {leg.page_spacing:g}, leg {leg.leg:g}, "
                f"plane spacing {leg.plane_spacing:g} mm"
            )
            if not np.isfinite(angles[named(Kind.LEG, side, i, stage=stage)]):
                raise spec.fail(table, "", f"the loop cannot be assembled {at}: {sums}")
            if angles[named(Kind.LEG, side, i, stage=stage)] <= 0:
                raise spec.fail(table, "leg", f"the leg would have to lie below the page {at}: {sums}")
        if side in c.flaps:
            flap = named(Kind.FLAP, side, stage=stage)
            check_flap_meets(spec, f"{tables}{side}.flap", c.flaps[side], angles[flap], at)


def _check_fold(spec: Spec, tables: str, stage: int, c: Stage, pose: Pose) -> None:
    """Refuse a fold whose sides cannot meet over its feet."""
    left, right = (pose.joints[named(Kind.INNER_FOOT, side, stage=stage)] for side in SIDES)
    across = float(np.hypot(*(right - left)))
    at = f"at {spec.base.opening_deg:g} degrees"
    sides = f"sides of {c.fold.left:g} and {c.fold.right:g} mm"
    if c.fold.left + c.fold.right <= across:
        text = (
            f"{sides} cannot reach between feet {across:.4g} mm apart {at}; "
            "lengthen the fold or bring its feet nearer to the spine"
        )
        raise spec.fail(f"{tables}fold", "left", text)
    if not np.all(np.isfinite(pose.joints[named(Kind.RIDGE, stage=stage)])):
        text = (
            f"{sides} cannot meet over feet {across:.4g} mm apart {at}: "
            "they differ by more than the feet are apart"
        )
        raise spec.fail(f"{tables}fold", "left", text)
