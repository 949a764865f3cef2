"""Can a plain support be built? Its tab under the plane, its foot on the page."""

import numpy as np

from compare.design.constructions.support.support_form import Support
from compare.design.spec.spec import Spec


def check_support_top(spec: Spec, table: str, support: Support, foot: float, width: float) -> None:
    """Refuse a tab that is no support's or lies beyond the plane.

    Parameters
    ----------
    foot : spine to the fold's foot; width : of the half of the plane it is glued under, mm.

    Raises
    ------
    SpecError : a tab at the ridge, too far on the support's own side, or beyond the plane's edge.
    """
    if support.tab == 0:
        text = "a support glued to the ridge is a side of the fold: write it as [fold] instead"
        raise spec.fail(table, "tab", text)
    if -support.tab >= foot:
        text = (
            f"the tab at {support.tab:g} mm must lie nearer to the ridge than the fold's foot to "
            f"the spine ({foot:g} mm), or the plane cannot follow the pages"
        )
        raise spec.fail(table, "tab", text)
    if support.tab > width:
        text = f"the tab at {support.tab:g} mm lies beyond the plane's edge ({width:g} mm)"
        raise spec.fail(table, "tab", text)


def check_support_meets(spec: Spec, table: str, angle: float, at: str) -> None:
    """Refuse a support that cannot meet the plane above the page; `angle` is that to its page, rad.

    Raises
    ------
    SpecError : fold, plane and support cannot meet, or only below the page.
    """
    if not np.isfinite(angle):
        raise spec.fail(table, "support", f"fold, plane and support cannot meet {at}")
    if angle <= 0:
        raise spec.fail(table, "support", f"it would have to lie below the page {at}")
