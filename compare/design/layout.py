"""From the design to the layout that guides the measurement."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from compare.design.linkage import solve
from compare.design.spec import Spec
from measure.layout import Layout, Panel, Role


def layout_of(spec: Spec, openings_deg: Sequence[float] = ()) -> Layout:
    """Joints and panels the photo should show, at the nominal opening, spine at the origin, mm.

    A spread propped open at another angle than flat never stands at exactly its nominal opening, so the
    search may then vary it. `openings_deg` are further openings at which the photo may show it.
    """
    pose = solve(spec.lengths(), np.radians(spec.base.opening_deg))
    panels: list[Panel] = []
    for side in ("left", "right"):
        has_leg = side in spec.sides
        page = (
            ["spine", f"inner foot {side}"]
            + ([f"outer foot {side}"] if has_leg else [])
            + [f"fore edge {side}"]
        )
        panels.append(Panel(name=f"page {side}", joints=tuple(page), role=Role.PAGE, free_end=True))
    for side in ("left", "right"):
        panels.append(Panel(name=f"fold {side}", joints=(f"inner foot {side}", "ridge"), role=Role.FOLD))
    for side in spec.sides:
        panels.append(
            Panel(name=f"leg {side}", joints=(f"outer foot {side}", f"leg top {side}"), role=Role.LEG)
        )
    for side in spec.sides:
        joints = ("ridge", f"leg top {side}", f"plane edge {side}")
        panels.append(Panel(name=f"plane {side}", joints=joints, role=Role.PLANE, free_end=True))
    names = tuple(dict.fromkeys(j for p in panels for j in p.joints))
    return Layout(
        joint_names=names,
        xy_mm=np.array([pose.joints[j] for j in names]),
        panels=tuple(panels),
        opening_deg=spec.base.opening_deg,
        other_openings=_other_openings(spec, names, openings_deg),
        card_mm=spec.card.thickness,
        depth_mm=spec.card.strip_depth,
        base_mm=spec.base.thickness,
        near_end_sd_mm=spec.card.near_end_spread,
    )


def _other_openings(
    spec: Spec, names: tuple[str, ...], further_deg: Sequence[float]
) -> tuple[tuple[float, NDArray[np.float64]], ...]:
    """Joints at openings near the nominal one; none for a flat spread, which lies flat."""
    nominal = spec.base.opening_deg
    near = (-12.0, -8.0, -4.0, 4.0, 8.0, 12.0) if nominal != 180.0 else ()
    out = []
    for deg in dict.fromkeys([*(nominal + d for d in near), *further_deg]):
        if 20.0 < deg <= 180.0 and deg != nominal:
            pose = solve(spec.lengths(), np.radians(deg))
            xy = np.array([pose.joints[j] for j in names])
            if np.all(np.isfinite(xy)):
                out.append((deg, xy))
    return tuple(out)
