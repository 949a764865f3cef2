"""The layers under the plane: the joints lie in the LOWEST of them."""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from measure.edges.edge_evidence import EdgeEvidence, LayerSteps, Template
from measure.geometry import Curve


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerChoiceNumbers:
    """Tuned numbers, found on path-traced photographs of dummies with strips and tabs under their planes."""

    share: float = 0.2
    """The step of a further layer is at least this share of the plane's own steps ..."""
    clear_sd: float = 4.0
    """... and so many standard deviations."""
    tone: tuple[float, float] = (-0.5, 0.25)
    """Natural logarithm: how much darker or brighter a lower layer's cut edge may be."""
    tone_floor: float = 0.005
    """Full scale = 1: added to both greys compared."""
    short_mm: float = 30.0
    """On a plane with less from ridge to leg ..."""
    trim_mm: tuple[float, float] = (2.0, 10.0)
    """... the stretch between them is taken but for the first, else for the second of these at either
    end."""
    beside_mm: tuple[float, float] = (1.0, 7.0)
    """Tabs under the plane show beside a joint from here to there (common practice, no source), ..."""
    beyond_mm: float = 6.0
    """... and beyond the leg to here."""
    end_mm: float = 0.5
    """The plane's last stretch is not looked at."""
    tabs_err: float = 0.1
    """Standard uncertainties, in thicknesses: tabs seen beside the joints, ..."""
    strip_err: float = 0.15
    """... a strip, ..."""
    one_err: float = 0.3
    """... one layer and no tab, ..."""
    unclear_err: float = 0.5
    """... nothing clear."""


TUNED = LayerChoiceNumbers()

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
    trim = TUNED.trim_mm[0] if spacing_mm < TUNED.short_mm else TUNED.trim_mm[1]
    middle = (trim, spacing_mm - trim)
    steps = edges.layers(line, middle, PLACES, template, up)
    lowest = _lowest(steps)
    if lowest is None:
        return JointsUnder(up_mm=0.0, err_mm=TUNED.unclear_err * t, seen=Layers.NONE_CLEAR)
    edge = float(PLACES[lowest]) * t
    near, far = TUNED.beside_mm
    beside = [
        (near, far),
        (spacing_mm - far, spacing_mm - near),
        (spacing_mm + near, spacing_mm + TUNED.beyond_mm),
    ]
    if lowest > 0:
        for stretch in beside:
            if stretch[1] > line.length - TUNED.end_mm:
                continue
            at_joint = _lowest(edges.layers(line, stretch, PLACES, template, up))
            if at_joint is not None and at_joint < lowest:
                return JointsUnder(up_mm=edge - t / 2, err_mm=TUNED.tabs_err * t, seen=Layers.TABS)
    own = abs(steps.height[lowest])

    def clear(k: int) -> bool:
        return k < len(PLACES) and abs(steps.height[k]) > max(
            TUNED.share * own, TUNED.clear_sd * steps.err[k]
        )

    if clear(lowest + 1) and not clear(lowest + 2):
        return JointsUnder(up_mm=edge, err_mm=TUNED.one_err * t, seen=Layers.ONE)
    return JointsUnder(up_mm=edge + t / 2, err_mm=TUNED.strip_err * t, seen=Layers.STRIP)


def _lowest(steps: LayerSteps) -> int | None:
    """Index of the lowest step that stands out, going down from the fitted layer through cut edges only.

    What lies below the plane may be bright and striped too; another layer of card continues the fitted one
    without a gap and in nearly the same grey.
    """
    height = np.abs(steps.height)
    clear = (height > TUNED.share * np.max(height)) & (height > TUNED.clear_sd * steps.err)
    grey = np.maximum(steps.above, 0) + TUNED.tone_floor
    fitted = int(np.flatnonzero(PLACES == -0.5)[0])
    found = fitted if clear[fitted] else None
    for k in range(fitted - 1, -1, -1):
        if not TUNED.tone[0] < np.log(grey[k] / grey[fitted]) < TUNED.tone[1]:
            break
        if clear[k]:
            found = k
    if found is None and clear[fitted + 1]:
        found = fitted + 1
    return found
