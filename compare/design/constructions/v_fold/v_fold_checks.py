"""Whether a V-fold can be built."""

from dataclasses import replace

import numpy as np

from compare.design.constructions.leg_and_plane.leg_form import check_legs
from compare.design.constructions.v_fold.v_fold_form import VFold
from compare.design.constructions.v_fold.v_fold_mechanism import mechanism_of_vfold
from compare.design.spec.spec import Spec
from measure.sides import SIDES


def check_angles(spec: Spec, table: str, glue: float, panel: float) -> None:
    """Refuse a V-fold that sticks out through the spine or cannot open as far as the spread.

    Raises
    ------
    SpecError : with both angles.
    """
    if glue + panel >= 180:
        text = (
            f"with glue_angle {glue:g} it would stick out through the spine when shut; "
            "their sum must stay below 180"
        )
        raise spec.fail(table, "angle", text)
    widest = 2 * np.degrees(np.arcsin(min(np.sin(np.radians(panel)) / np.sin(np.radians(glue)), 1.0)))
    if panel < glue and widest < spec.base.opening_deg:
        text = (
            f"an angle of {panel:g} with glue_angle {glue:g} opens to {widest:.0f} degrees only, not to "
            f"{spec.base.opening_deg:g}; make it at least as large as glue_angle"
        )
        raise spec.fail(table, "angle", text)


def check_vfold(spec: Spec, v: VFold) -> None:
    """Refuse a V-fold that cannot be.

    Raises
    ------
    SpecError : glue lines or feet beyond the page, tops beyond the plane, panels that cannot meet, a plane
        that cannot lie on it.
    """
    across = {}
    for side in SIDES:
        table, part = f"vfold.{side}", v.sides[side]
        across[side] = part.width * float(np.sin(np.radians(part.glue_deg)))
        page = spec.base.page(side)
        if across[side] >= page:
            text = f"the glue line ends {across[side]:.4g} mm from the spine, beyond the page ({page:g} mm)"
            raise spec.fail(table, "width", text)
        other = v.sides["left" if side == "right" else "right"]
        even = (part.glue_deg, part.panel_deg) == (other.glue_deg, other.panel_deg)
        if even or part.glue_deg + part.panel_deg >= 180:  # how far an uneven one opens, solving tells
            check_angles(spec, table, part.glue_deg, part.panel_deg)
    check_legs(spec, v.legs, v.plane, across)
    pose = spec.mechanism.solve({}, spec.opening)
    at = f"at {spec.base.opening_deg:g} degrees"
    if not np.isfinite(pose.points["vfold tip"]).all():
        raise spec.fail("vfold", "", f"its two panels cannot meet {at}: open it less, or make 'angle' larger")
    alone = mechanism_of_vfold(spec.base, replace(v, legs={})).solve({}, spec.opening)
    if not np.isfinite(alone.joints["ridge"]).all():
        text = f"the plane cannot lie on the V-fold {at}: plane_angle does not fit glue_angle"
        raise spec.fail("vfold.right", "plane_angle", text)
