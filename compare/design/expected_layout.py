"""From the design to the layout that guides the measurement."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.spec.spec import Spec
from measure.layout import Layout

NEAR_OPENINGS: Final = (-12.0, -8.0, -4.0, 4.0, 8.0, 12.0)  # degrees from the nominal one


def _places(spec: Spec, names: tuple[str, ...], deg: float, lengths: Mapping[str, float]) -> Array:
    """Joints (J, 2) at an opening, mm; what lies on a plane is lifted by the card below it."""
    mechanism = spec.mechanism
    pose = mechanism.solve(lengths, np.radians(deg))
    lift = spec.card.thickness / float(np.sin(np.radians(deg) / 2))
    return np.array([pose.joints[j] + (0.0, mechanism.lifts.get(j, 0) * lift) for j in names])


def layout_of(
    spec: Spec, openings_deg: Sequence[float] = (), lengths: Mapping[str, float] | None = None
) -> Layout:
    """Joints and panels the photo should show, at the nominal opening, spine at the origin, mm.

    A spread propped open at another angle than flat never stands at exactly its nominal opening, so the
    search may then vary it. `openings_deg` are further openings at which the photo may show it. `lengths`
    (name -> mm) are known already, from another photo of the same dummy, and take the place of nominal ones.
    """
    known = dict(lengths or {})
    panels = spec.mechanism.panels
    names = tuple(dict.fromkeys(j for p in panels for j in p.joints))
    return Layout(
        joint_names=names,
        xy_mm=_places(spec, names, spec.base.opening_deg, known),
        panels=panels,
        opening_deg=spec.base.opening_deg,
        other_openings=_other_openings(spec, names, openings_deg, known),
        card_mm=spec.card.thickness,
        depth_mm=spec.card.strip_depth,
        base_mm=spec.base.thickness,
        setback_mm=spec.base.setback,
        near_end_sd_mm=spec.card.near_end_spread,
    )


def _other_openings(
    spec: Spec, names: tuple[str, ...], further_deg: Sequence[float], lengths: Mapping[str, float]
) -> tuple[tuple[float, Array], ...]:
    """Joints at openings near the nominal one; none for a flat spread, which lies flat."""
    nominal = spec.base.opening_deg
    near = NEAR_OPENINGS if nominal != 180.0 else ()
    out = []
    for deg in dict.fromkeys([*(nominal + d for d in near), *further_deg]):
        if 20.0 < deg <= 180.0 and deg != nominal:
            xy = _places(spec, names, deg, lengths)
            if np.all(np.isfinite(xy)):
                out.append((deg, xy))
    return tuple(out)
