"""What several steps of finding need to know about a panel in the photo."""

from dataclasses import dataclass

import numpy as np

from measure.edges.line_fit import Fit
from measure.geometry import Curve
from measure.guided.placement import Placement
from measure.layout import Layout, Panel, Role
from measure.reasons import Unseen, WhyUnseen


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtNumbers:
    """Tuned numbers of what a fit must show to be believed, found on path-traced photographs of dummies."""

    min_share: float = 0.4
    """Share of a panel's stations that must be used, ..."""
    fair_share: float = 0.6
    """... and where no more than this are, ..."""
    fair_rms_mm: float = 0.06
    """... they must at least agree so well."""
    min_score: float = 5.0
    """Mean evidence per station."""
    max_rms_mm: float = 0.25
    """Scatter of the stations about a near end."""


TUNED = DoubtNumbers()


def up_side(layout: Layout, panel: Panel, placement: Placement, curve: Curve) -> float:
    """+1 if up (from the pages toward the plane) is to the left of the panel, else -1."""
    pages = [j for p in layout.panels if p.role is Role.PAGE for j in p.joints]
    others = [j for j in layout.joint_names if j not in pages]
    base = placement.apply(np.stack([layout.at(j) for j in pages])).mean(axis=0)
    top = placement.apply(np.stack([layout.at(j) for j in others])).mean(axis=0)
    return 1.0 if float((top - base) @ curve.normal) > 0 else -1.0


def doubt(fit: Fit) -> WhyUnseen | None:
    """Why a fit is not believed; None if it is."""
    share = fit.n_used / fit.n_stations
    if share < TUNED.min_share or not np.isfinite(fit.rms_mm):
        return WhyUnseen(kind=Unseen.FEW_PLACES, n_seen=fit.n_used, n_tried=fit.n_stations)
    if share < TUNED.fair_share and fit.rms_mm > TUNED.fair_rms_mm:
        return WhyUnseen(kind=Unseen.FEW_AGREE, n_seen=fit.n_used, n_tried=fit.n_stations)
    if fit.mean_score < TUNED.min_score:
        return WhyUnseen(kind=Unseen.FAINT)
    if fit.rms_mm > TUNED.max_rms_mm:
        return WhyUnseen(kind=Unseen.NO_STRAIGHT_EDGE, mm=fit.rms_mm)
    return None
