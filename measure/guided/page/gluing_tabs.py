"""Gluing tabs beside the feet: seen by what they change on the bare page."""

from collections.abc import Sequence

import numpy as np

from capture.arrays import Array, Single
from measure.edges.edge_evidence import softened

TAB_MM = (0.8, 9.0)
"""A gluing tab shows beside its foot from here to there (common practice, no source)."""
TAB_CAP = 400.0
"""One foot counts at most like this (as much as some thirty stations of clear page edge)."""
LIKE_EDGE = 0.25  # natural logarithm: greys nearer than this may both be cut edges
N_BARE = 16


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
    noise.
    """
    feet = np.asarray(feet_mm)
    clearance = np.min(np.abs(along[:, None] - feet[None, :]), axis=1) if len(feet) else along * 0 + 99
    bare = clearance > TAB_MM[1] + 3.0
    if bare.sum() < 8:
        return [np.zeros(len(wanted)) for _ in feet]
    around = np.median(strip[bare], axis=0)
    noise = np.maximum(1.4826 * np.median(np.abs(strip[bare] - around), axis=0), 0.006)
    places = np.flatnonzero(bare)
    out = []
    for foot in feet:
        away = along - foot
        # The bare page nearest to the foot: farther off the line may run a little higher or lower.
        nearest = places[np.argsort(np.abs(away[places]))[:N_BARE]]
        changed = (strip - np.median(strip[nearest], axis=0)) / noise
        best = np.zeros(len(wanted))
        for side in ((away > -TAB_MM[1]) & (away < -TAB_MM[0]), (away > TAB_MM[0]) & (away < TAB_MM[1])):
            if side.any():
                # Neighbouring stations see the same grain: count a third of them as independent.
                z = changed[side].mean(axis=0) * np.sqrt(side.sum() / 3)
                grey = strip[side].astype(np.float64).mean(axis=0)
                best = np.maximum(best, _tab_significance(z, grey, offsets, wanted, card_mm, tone))
        out.append(np.minimum(8.0 * softened(0.5 * best**2), TAB_CAP))
    return out


def _tab_significance(
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
        like_edge = np.abs(_log_ratio(_mean(grey, offsets, low, low + card_mm), tone)) < LIKE_EDGE
        ways.append(np.where(like_edge, np.minimum(flanks - own, -own), 0.0))
        shadow = _log_ratio(_mean(grey, offsets, low - half, low), tone) < -LIKE_EDGE
        calm = np.abs(above) < 0.5 * np.abs(below)
        ways.append(np.where(shadow & calm, np.minimum(above - below, -below), 0.0))
        if tone < 0.6 * float(np.median(grey[offsets > 0])):
            ways.append(np.minimum(below - above, -above))
    out: Array = np.maximum(np.max(ways, axis=0), 0.0)
    return out


def _log_ratio(grey: Array, tone: float) -> Array:
    out: Array = np.log((np.maximum(grey, 0) + 0.005) / (tone + 0.005))
    return out


def _mean(values: Array, offsets: Array, low: Array, high: Array) -> Array:
    """Means (W,) of values given at equally spaced offsets, between low and high (W,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    h = float(offsets[1] - offsets[0])
    a = np.clip(np.rint((low - offsets[0]) / h).astype(int), 0, len(values) - 1)
    b = np.clip(np.rint((high - offsets[0]) / h).astype(int), 1, len(values))
    out: Array = (total[b] - total[a]) / np.maximum(b - a, 1)
    return out


def shifted(score: Array, offsets: Array, wanted: Array) -> Array:
    """Scores (S, W) at wanted offsets, by the nearest column; 0 outside."""
    h = float(offsets[1] - offsets[0])
    k = np.rint((wanted - offsets[0]) / h).astype(int)
    ok = (k >= 0) & (k < len(offsets))
    out = np.zeros((len(score), len(wanted)))
    out[:, ok] = score[:, k[ok]]
    return out
