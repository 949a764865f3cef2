"""Whether a table on a pillar can be built."""

from typing import Final

import numpy as np

from compare.design.constructions.leg_and_plane.leg_form import check_legs
from compare.design.constructions.pillar.pillar_form import Pillar
from compare.design.constructions.v_fold.v_fold_checks import check_angles
from compare.design.spec.spec import Spec
from measure.sides import SIDES

DRAWN_MM: Final = 0.05  # a drawing is written to hundredths


def check_pillar(spec: Spec, p: Pillar) -> None:
    """Refuse a pillar that cannot be.

    Raises
    ------
    SpecError : glue lines that cross each other, a leg in the pillar, feet and tops beyond page and plane.
    """
    check_angles(spec, "pillar", p.glue_deg, p.panel_deg)
    along = p.width * float(np.cos(np.radians(p.glue_deg)))
    if along > p.gap / 2 + DRAWN_MM:
        text = f"glue lines that run {along:.4g} mm along the spine cross each other in a gap of {p.gap:g} mm"
        raise spec.fail("pillar", "width", text)
    across = p.width * float(np.sin(np.radians(p.glue_deg)))
    check_legs(spec, p.legs, p.plane, dict.fromkeys(SIDES, 0.0))
    for side, leg in p.legs.items():
        if leg.page_spacing <= across:
            text = (
                f"the leg's foot at {leg.page_spacing:g} mm would stand in the pillar, "
                f"which reaches {across:.4g} mm"
            )
            raise spec.fail(side, "page_spacing", text)
