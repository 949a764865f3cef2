"""Can a pull-up flap be built? Its hinge between leg and fore edge, flap and strap long enough to meet."""

from collections.abc import Sequence

import numpy as np

from compare.design.constructions.flap.flap_form import Flap
from compare.design.constructions.leg_and_plane.leg_form import Leg
from compare.design.spec.spec import Spec


def check_hinge(spec: Spec, table: str, flap: Flap, foot: float, legs: Sequence[Leg], room: float) -> None:
    """Refuse a hinge that does not lie between the outermost leg's foot and the edge, `room` mm out.

    Raises
    ------
    SpecError : with both bounds.
    """
    last = foot + max(leg.page_spacing for leg in legs)
    if not last < flap.hinge < room:
        text = (
            f"the hinge at {flap.hinge:g} mm must lie between the leg's foot ({last:g} mm) "
            f"and the fore edge ({room:g} mm)"
        )
        raise spec.fail(table, "hinge", text)


def check_flap_meets(spec: Spec, table: str, flap: Flap, angle: float, at: str) -> None:
    """Refuse a flap and a strap that cannot meet; `angle` is that of the flap to its page, rad.

    Raises
    ------
    SpecError : with both lengths.
    """
    if not np.isfinite(angle):
        text = f"flap {flap.flap:g} and strap {flap.strap:g} mm cannot meet {at}"
        raise spec.fail(table, "strap", text)
