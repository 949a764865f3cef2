"""Telling camera shake from a wrong focus: edges across the sheet and edges up it, blurred alike or not."""

import numpy as np

from capture.arrays import Array, Pixels
from capture.sight.tags import apply_h


def blur_ratio(grey: Pixels, h: Array, px: Array, reach_px: float) -> float:
    """Blur up the sheet over blur across it, from the slopes round its saddles; 1 where they cannot tell.

    Across an edge of height c blurred by a Gaussian of standard deviation s, the squared slope adds up to
    c^2 / (2 s sqrt(pi)). A saddle has as much edge of one direction as of the other, so the ratio of the two
    sums is the inverse ratio of the blurs.

    Parameters
    ----------
    grey : (H, W) photo. h : (3, 3) homography, pixels <- mm. px : (N, 2) saddles.
    reach_px : half width of the window, inside the plain part of the pattern.
    """
    half = max(int(reach_px), 3)
    centre = np.rint(px).astype(np.int64)
    rows, cols = grey.shape
    inside = (centre > half + 1).all(axis=1) & (centre < [cols - half - 2, rows - half - 2]).all(axis=1)
    if not inside.any():
        return 1.0
    # the sheet's directions in the picture, at its middle: all we want is a coarse answer
    middle = apply_h(h, np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    across, up = ((middle[k] - middle[0]) / np.linalg.norm(middle[k] - middle[0]) for k in (1, 2))
    offset = np.arange(-half - 1, half + 2)
    patch = grey[centre[inside, 1, None, None] + offset[:, None], centre[inside, 0, None, None] + offset]
    values = patch.astype(np.float32)
    slope_x = (values[:, 1:-1, 2:] - values[:, 1:-1, :-2]) / 2
    slope_y = (values[:, 2:, 1:-1] - values[:, :-2, 1:-1]) / 2
    energy = [np.sum((d[0] * slope_x + d[1] * slope_y) ** 2, axis=(1, 2)) for d in (across, up)]
    ratio = float(np.median(energy[0] / np.maximum(energy[1], 1e-6)))
    return ratio if np.isfinite(ratio) and ratio > 0 else 1.0
