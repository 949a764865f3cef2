"""The layers under the plane: the joints lie in the LOWEST of them."""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from measure.edges.edge_evidence import EdgeEvidence, LayerSteps, Template
from measure.geometry import Curve

LAYER_SHARE = 0.2
"""The step of a further layer is at least this share of the plane's own steps."""
LAYER_TONE = (-0.5, 0.25)  # natural logarithm: how much darker or brighter a lower layer's cut edge may be
PLACES = np.array([-2.5, -1.5, -0.5, 0.5, 1.5])
"""Where edges of layers may lie, in thicknesses up from the fitted line."""


class Layers(Enum):
    """What is seen under a plane."""

    NONE_CLEAR = auto()
    ONE = auto()
    TABS = auto()
    STRIP = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class JointsUnder:
    """Where a plane's joints lie: offset UP from the fitted line, its standard uncertainty, what was seen."""

    up_mm: float
    err_mm: float
    seen: Layers


def joints_under_plane(
    edges: EdgeEvidence,
    line: Curve,
    template: Template,
    *,
    up: float,
    spacing_mm: float,
) -> JointsUnder:
    """Find the level of the joints under the plane from the layers that are seen there.

    A strip may run under the plane from ridge to leg, or tabs may be glued under it beside the joints; either
    way the joints lie in the middle of that lower layer. So: half a card above the lowest edge where two
    layers lie together, half a card below the plane's lower face where a tab is seen beside a joint, and at
    the lower face itself where there is one layer and no tab.

    Parameters
    ----------
    edges : how near ends are seen in this photo.
    line : fitted line of the plane's near end, from the ridge outward.
    template : the stripe of one card.
    up : +1 if up is to the left of the line.
    spacing_mm : distance from ridge to leg along it.
    """
    t = template.card_mm
    middle = (2.0, spacing_mm - 2.0) if spacing_mm < 30 else (10.0, spacing_mm - 10.0)
    steps = edges.layers(line, middle, PLACES, template, up)
    lowest = _lowest(steps)
    if lowest is None:
        return JointsUnder(up_mm=0.0, err_mm=t / 2, seen=Layers.NONE_CLEAR)
    edge = float(PLACES[lowest]) * t
    beside = [(1.0, 7.0), (spacing_mm - 7.0, spacing_mm - 1.0), (spacing_mm + 1.0, spacing_mm + 6.0)]
    if lowest > 0:
        for stretch in beside:
            if stretch[1] > line.length - 0.5:
                continue
            at_joint = _lowest(edges.layers(line, stretch, PLACES, template, up))
            if at_joint is not None and at_joint < lowest:
                return JointsUnder(up_mm=edge - t / 2, err_mm=0.1 * t, seen=Layers.TABS)
    own = abs(steps.height[lowest])

    def clear(k: int) -> bool:
        return k < len(PLACES) and abs(steps.height[k]) > max(LAYER_SHARE * own, 4 * steps.err[k])

    if clear(lowest + 1) and not clear(lowest + 2):
        return JointsUnder(up_mm=edge, err_mm=0.3 * t, seen=Layers.ONE)
    return JointsUnder(up_mm=edge + t / 2, err_mm=0.15 * t, seen=Layers.STRIP)


def _lowest(steps: LayerSteps) -> int | None:
    """Index of the lowest step that stands out, going down from the fitted layer through cut edges only.

    What lies below the plane may be bright and striped too; another layer of card continues the fitted one
    without a gap and in nearly the same grey.
    """
    height = np.abs(steps.height)
    clear = (height > LAYER_SHARE * np.max(height)) & (height > 4 * steps.err)
    grey = np.maximum(steps.above, 0) + 0.005
    fitted = int(np.flatnonzero(PLACES == -0.5)[0])
    found = fitted if clear[fitted] else None
    for k in range(fitted - 1, -1, -1):
        if not LAYER_TONE[0] < np.log(grey[k] / grey[fitted]) < LAYER_TONE[1]:
            break
        if clear[k]:
            found = k
    if found is None and clear[fitted + 1]:
        found = fitted + 1
    return found
