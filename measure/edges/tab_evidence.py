"""Gluing tabs beside the feet of strips: seen by what they change on the bare page."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array, Single
from measure.edges.edge_evidence import softened


@dataclass(frozen=True, slots=True, kw_only=True)
class TabNumbers:
    """Tuned numbers; where nothing else is said, found on path-traced photographs of known dummies."""

    beside_mm: tuple[float, float] = (0.8, 9.0)
    """A gluing tab shows beside its foot from here to there (common practice, no source)."""
    bare_beyond_mm: float = 3.0
    """Farther than that beyond the tab the page is bare."""
    least_bare: int = 8
    """Stations of bare page without which nothing can be said of tabs."""
    n_bare: int = 16
    """Bare stations nearest to a foot that its tab is compared with: farther off the line may run higher."""
    least_noise: float = 0.006
    """Full scale = 1: no page is known to be smoother."""
    grain_stations: float = 3.0
    """So many neighbouring stations see the same grain and count as one."""
    weight: float = 8.0
    """Of a tab's evidence, softened, against that of the page's edges."""
    cap: float = 400.0
    """Log-likelihood units: one foot counts at most like some thirty stations of clear page edge."""
    like_edge: float = 0.25
    """Natural logarithm: greys nearer than this may both be cut edges."""
    dark_share: float = 0.6
    """A tab is dark if cut edges are darker than that share of the page's upper face."""
    calm_share: float = 0.5
    """A shadow changes what lies above it by less than that share of what it changes itself."""
    tone_floor: float = 0.005
    """Full scale = 1: added to greys compared, so that the dark does not differ from the dark."""


TUNED = TabNumbers()


def tab_profiles(
    strip: Single,
    offsets: Array,
    along: Array,
    feet_mm: Sequence[float],
    wanted: Array,
    card_mm: float,
    tone: float | None,
) -> list[Array]:
    """Evidence (W,) for a foot's tab at every level: the better side of the foot counts.

    A tab shows by what it changes, compared with the bare page; how much the bare page itself varies is the
    noise. See `measure.edges.edge_evidence.EdgeEvidence.tabs`.
    """
    feet = np.asarray(feet_mm)
    near, far = TUNED.beside_mm
    clearance = np.min(np.abs(along[:, None] - feet[None, :]), axis=1) if len(feet) else along * 0 + 99
    bare = clearance > far + TUNED.bare_beyond_mm
    if bare.sum() < TUNED.least_bare:
        return [np.zeros(len(wanted)) for _ in feet]
    around = np.median(strip[bare], axis=0)
    noise = np.maximum(1.4826 * np.median(np.abs(strip[bare] - around), axis=0), TUNED.least_noise)
    places = np.flatnonzero(bare)
    out = []
    for foot in feet:
        away = along - foot
        nearest = places[np.argsort(np.abs(away[places]))[: TUNED.n_bare]]
        changed = (strip - np.median(strip[nearest], axis=0)) / noise
        best = np.zeros(len(wanted))
        for side in ((away > -far) & (away < -near), (away > near) & (away < far)):
            if side.any():
                z = changed[side].mean(axis=0) * np.sqrt(side.sum() / TUNED.grain_stations)
                grey = strip[side].astype(np.float64).mean(axis=0)
                best = np.maximum(best, _significance(z, grey, offsets, wanted, card_mm, tone))
        out.append(np.minimum(TUNED.weight * softened(0.5 * best**2), TUNED.cap))
    return out


def _significance(
    z: Array, grey: Array, offsets: Array, level: Array, card_mm: float, tone: float | None
) -> Array:
    """How clearly (in standard deviations) a tab lies at each level, from what its side changed.

    A tab may show in four ways: brighter than a pen line it covers; as a stripe in the grey of cut edges on a
    page that is brighter; by its shadow on the page's cut edge, right below it; or, a dark tab on a white
    page, darker from its lower edge up.

    Parameters
    ----------
    z, grey : (D,) change against the bare page in standard deviations, and grey values, at offsets (D,).
    level : (W,) levels of the tab's middle.
    """
    half = card_mm / 2
    low = level - half
    above, below = _mean(z, offsets, low, low + half), _mean(z, offsets, low - half, low)
    ways = [np.minimum(above - below, above)]
    if tone is not None:
        own = _mean(z, offsets, low, low + card_mm)
        flanks = np.minimum(below, _mean(z, offsets, low + card_mm, low + card_mm + half))
        like_edge = np.abs(_log_ratio(_mean(grey, offsets, low, low + card_mm), tone)) < TUNED.like_edge
        ways.append(np.where(like_edge, np.minimum(flanks - own, -own), 0.0))
        shadow = _log_ratio(_mean(grey, offsets, low - half, low), tone) < -TUNED.like_edge
        calm = np.abs(above) < TUNED.calm_share * np.abs(below)
        ways.append(np.where(shadow & calm, np.minimum(above - below, -below), 0.0))
        if tone < TUNED.dark_share * float(np.median(grey[offsets > 0])):
            ways.append(np.minimum(below - above, -above))
    out: Array = np.maximum(np.max(ways, axis=0), 0.0)
    return out


def _log_ratio(grey: Array, tone: float) -> Array:
    out: Array = np.log((np.maximum(grey, 0) + TUNED.tone_floor) / (tone + TUNED.tone_floor))
    return out


def _mean(values: Array, offsets: Array, low: Array, high: Array) -> Array:
    """Means (W,) of values given at equally spaced offsets, between low and high (W,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    h = float(offsets[1] - offsets[0])
    a = np.clip(np.rint((low - offsets[0]) / h).astype(int), 0, len(values) - 1)
    b = np.clip(np.rint((high - offsets[0]) / h).astype(int), 1, len(values))
    out: Array = (total[b] - total[a]) / np.maximum(b - a, 1)
    return out
