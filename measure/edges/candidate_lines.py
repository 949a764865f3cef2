"""Lines along which the near end of a panel may lie: the best ones by summed evidence, not only the best.

The true line is nearly always among the first few but not always the first: a shadow or a tab may score
higher. The choice among them is made later, for all panels together (`measure.guided.choose_lines`).
"""

from dataclasses import dataclass

import numpy as np

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One possible near end of a panel: offsets of its two ends from the base line, and its score."""

    d0_mm: float
    d1_mm: float
    score: float


def crest_shift(left: Array, middle: Array, right: Array) -> Array:
    """Where, in steps from the middle, the parabola through three equally spaced values has its crest.

    Within one step either way; 0 where the values have no crest.
    """
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / np.where(bend < 0, bend, -1.0)
    out: Array = np.where(bend < 0, np.clip(shift, -1, 1), 0.0)
    return out


def line_scores(score: Array, offsets_mm: Array, s: Array, reach_mm: float, slope_mm: float) -> Array:
    """Sum of scores along every straight line through a straightened strip.

    Parameters
    ----------
    score : (S, K) evidence at stations s and equally spaced offsets.
    offsets_mm : (K,).
    s : (S,) stations, 0..1 along the base line.
    reach_mm : lines have both end offsets within this; slope_mm : and their difference within that.

    Returns
    -------
    (N, N) array of sums for the end offsets d0 (rows) and d1 (columns), both on the grid
    -reach..reach with the step of `offsets_mm`; nan-free, 0 where the slope is not allowed.
    """
    h = float(offsets_mm[1] - offsets_mm[0])
    n = int(round(reach_mm / h))
    size = 2 * n + 1
    first = int(round((-reach_mm - offsets_mm[0]) / h))
    out = np.zeros((size, size))
    max_slope = int(round(slope_mm / h))
    flat, width = np.ascontiguousarray(score).ravel(), score.shape[1]
    row_start = np.arange(len(s)) * width + first
    for slope in range(-max_slope, max_slope + 1):
        rows = np.arange(max(0, -slope), min(size, size - slope))
        start = row_start + np.rint(slope * s).astype(int)
        out[rows, rows + slope] = flat[start[:, None] + rows[None, :]].sum(axis=0)
    return out


def best_lines(sums: Array, reach_mm: float, n_keep: int, apart_mm: float) -> list[Candidate]:
    """Local maxima of `line_scores`, best first, none within `apart_mm` of a better one at both ends."""
    size = len(sums)
    h = 2 * reach_mm / (size - 1)
    work = sums.copy()
    k = max(1, int(round(apart_mm / h)))
    found: list[Candidate] = []
    for _ in range(n_keep):
        i, j = np.unravel_index(int(np.argmax(work)), work.shape)
        best = float(work[i, j])
        if best <= 0:
            break
        found.append(Candidate(d0_mm=float(i) * h - reach_mm, d1_mm=float(j) * h - reach_mm, score=best))
        work[max(0, i - k) : i + k + 1, max(0, j - k) : j + k + 1] = 0
    return found
