"""Can a V-fold, a pillar or a drawn linkage be built? What only they can get wrong."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from compare.compare_errors import SpecError
from compare.design.constructions.vfold import mechanism_of_vfold
from compare.design.spec.parts import Parallelogram, Plane
from compare.design.spec.spec import Spec
from measure.sides import SIDES

DRAWN_MM: Final = 0.05  # a drawing is written to hundredths


def _fail(spec: Spec, table: str, key: str, text: str) -> SpecError:
    return SpecError(f"{spec.source.where(table, key)}: {text}")


def check_space(spec: Spec) -> None:
    """Refuse V-folds, pillars and drawings that cannot be.

    Raises
    ------
    SpecError : glue lines or feet beyond the page, tops beyond the plane, a V-fold that would stick out
        through the spine or does not open as far as it should, a drawing that contradicts its pages.
    """
    if spec.vfold is not None:
        _check_vfold(spec)
    elif spec.pillar is not None:
        _check_pillar(spec)
    elif spec.drawing is not None:
        _check_drawing(spec)


def _check_angles(spec: Spec, table: str, glue: float, panel: float) -> None:
    """Refuse a V-fold that sticks out through the spine or cannot open as far as the spread."""
    if glue + panel >= 180:
        text = (
            f"with glue_angle {glue:g} it would stick out through the spine when shut; "
            "their sum must stay below 180"
        )
        raise _fail(spec, table, "angle", text)
    widest = 2 * np.degrees(np.arcsin(min(np.sin(np.radians(panel)) / np.sin(np.radians(glue)), 1.0)))
    if panel < glue and widest < spec.base.opening_deg:
        text = (
            f"an angle of {panel:g} with glue_angle {glue:g} opens to {widest:.0f} degrees only, not to "
            f"{spec.base.opening_deg:g}; make it at least as large as glue_angle"
        )
        raise _fail(spec, table, "angle", text)


def _check_legs(
    spec: Spec, legs: Mapping[str, Parallelogram], plane: Plane, starts: Mapping[str, float]
) -> None:
    """Refuse legs whose feet lie beyond the page or whose tops lie beyond the plane.

    starts : side -> where the spacings count from, mm from the spine (and from the ridge).
    """
    for side, leg in legs.items():
        page, width = float(getattr(spec.base, f"page_{side}")), float(getattr(plane, side))
        foot, top = starts[side] + leg.page_spacing, starts[side] + leg.plane_spacing
        if leg.page_spacing < 2 * spec.card.thickness:
            text = f"{leg.page_spacing:g} mm: the leg's foot would lie on the glue line it starts from"
            raise _fail(spec, side, "page_spacing", text)
        if foot >= page:
            text = f"the leg's foot at {foot:.4g} mm lies beyond the page ({page:g} mm)"
            raise _fail(spec, side, "page_spacing", text)
        if top > width:
            text = (
                f"the leg's top at {top:.4g} mm lies beyond the plane's edge ([plane] {side} = {width:g} mm)"
            )
            raise _fail(spec, side, "plane_spacing", text)


def _check_vfold(spec: Spec) -> None:
    v = spec.vfold
    assert v is not None
    across = {}
    for side in SIDES:
        table, part = f"vfold.{side}", v.sides[side]
        across[side] = part.width * float(np.sin(np.radians(part.glue_deg)))
        page = float(getattr(spec.base, f"page_{side}"))
        if across[side] >= page:
            text = f"the glue line ends {across[side]:.4g} mm from the spine, beyond the page ({page:g} mm)"
            raise _fail(spec, table, "width", text)
        other = v.sides["left" if side == "right" else "right"]
        even = (part.glue_deg, part.panel_deg) == (other.glue_deg, other.panel_deg)
        if even or part.glue_deg + part.panel_deg >= 180:  # how far an uneven one opens, solving tells
            _check_angles(spec, table, part.glue_deg, part.panel_deg)
    _check_legs(spec, v.legs, v.plane, across)
    pose = spec.mechanism.solve({}, np.radians(spec.base.opening_deg))
    at = f"at {spec.base.opening_deg:g} degrees"
    if not np.isfinite(pose.points["vfold tip"]).all():
        raise _fail(
            spec, "vfold", "", f"its two panels cannot meet {at}: open it less, or make 'angle' larger"
        )
    alone = mechanism_of_vfold(spec.base, replace(v, legs={})).solve({}, np.radians(spec.base.opening_deg))
    if not np.isfinite(alone.joints["ridge"]).all():
        text = f"the plane cannot lie on the V-fold {at}: plane_angle does not fit glue_angle"
        raise _fail(spec, "vfold.right", "plane_angle", text)


def _check_pillar(spec: Spec) -> None:
    p = spec.pillar
    assert p is not None
    _check_angles(spec, "pillar", p.glue_deg, p.panel_deg)
    along = p.width * float(np.cos(np.radians(p.glue_deg)))
    if along > p.gap / 2 + DRAWN_MM:
        text = f"glue lines that run {along:.4g} mm along the spine cross each other in a gap of {p.gap:g} mm"
        raise _fail(spec, "pillar", "width", text)
    across = p.width * float(np.sin(np.radians(p.glue_deg)))
    _check_legs(spec, p.legs, p.plane, dict.fromkeys(SIDES, 0.0))
    for side, leg in p.legs.items():
        if leg.page_spacing <= across:
            text = (
                f"the leg's foot at {leg.page_spacing:g} mm would stand in the pillar, "
                f"which reaches {across:.4g} mm"
            )
            raise _fail(spec, side, "page_spacing", text)


def _check_drawing(spec: Spec) -> None:
    drawing = spec.drawing
    assert drawing is not None
    used = {j for p in drawing.panels for j in p.joints}
    for joint, (x, y) in drawing.joints.items():
        if joint not in used:
            raise _fail(spec, "joints", joint, "no [[panel]] runs through this joint")
        if joint == "spine" and np.hypot(x, y) > 0:
            raise _fail(spec, "joints", joint, "the spine is the origin: write [0, 0]")
    half = np.radians(spec.base.opening_deg) / 2
    for side, sign in (("left", -1.0), ("right", 1.0)):
        panel = next(p for p in drawing.panels if p.name == f"page {side}")
        along = np.array([sign * np.sin(half), np.cos(half)])
        for joint in panel.joints:
            xy = np.array(drawing.joints[joint])
            off = xy - (xy @ along) * along
            if np.hypot(*off) > DRAWN_MM or xy @ along < 0:
                text = (
                    f"it lies {np.hypot(*off):.2f} mm off the {side} page as drawn at "
                    f"{spec.base.opening_deg:g} degrees ([base] opening)"
                )
                raise _fail(spec, "joints", joint, text)
        page, last = float(getattr(spec.base, f"page_{side}")), panel.joints[-1]
        reach = float(np.hypot(*drawing.joints[last]))
        if reach > page + DRAWN_MM:
            text = f"it lies {reach:.4g} mm from the spine, beyond the page ({page:g} mm)"
            raise _fail(spec, "joints", last, text)
