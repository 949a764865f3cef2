"""What several steps of finding need to know about a panel in the photo."""

import numpy as np

from measure.edges.line_fit import Fit
from measure.geometry import Curve
from measure.guided.placement import Placement
from measure.layout import Layout, Panel, Role
from measure.reasons import Unseen, WhyUnseen

FLAT_DEG = 8.0
MIN_SHARE = 0.4
MIN_SCORE = 5.0
MAX_RMS_MM = 0.25
FAIR_SHARE, FAIR_RMS_MM = 0.6, 0.06  # few stations must at least agree well


def is_flat(layout: Layout) -> bool:
    """Whether the spread lies flat, near enough for its pages to look like one line."""
    return abs(180.0 - layout.opening_deg) < FLAT_DEG


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
    if share < MIN_SHARE or not np.isfinite(fit.rms_mm):
        return WhyUnseen(kind=Unseen.FEW_PLACES, n_seen=fit.n_used, n_tried=fit.n_stations)
    if share < FAIR_SHARE and fit.rms_mm > FAIR_RMS_MM:
        return WhyUnseen(kind=Unseen.FEW_AGREE, n_seen=fit.n_used, n_tried=fit.n_stations)
    if fit.mean_score < MIN_SCORE:
        return WhyUnseen(kind=Unseen.FAINT)
    if fit.rms_mm > MAX_RMS_MM:
        return WhyUnseen(kind=Unseen.NO_STRAIGHT_EDGE, mm=fit.rms_mm)
    return None
