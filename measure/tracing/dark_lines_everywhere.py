"""A dark line one card wide looked for everywhere in a picture at once.

The same comparison as along a curve (`measure.edges.dark_line`), written as correlations, so that it can be
asked of a whole picture: rows are places along a direction, columns offsets across it.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from capture.arrays import Array, Single
from measure.edges.dark_line import TUNED, DarkLine, columns


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DarkLinesSeen:
    """Log-likelihood ratios (R, D) at every place of a picture.

    Attributes
    ----------
    dip : of ink between two lighter sides against the same sides without it.
    edge_high, edge_low : of a face that ends in the dark, the dark at higher or at lower offsets.
    """

    dip: Array
    edge_high: Array
    edge_low: Array


def dark_lines_everywhere(rows: Array, line: DarkLine, per_mm: float, px_per_mm: float) -> DarkLinesSeen:
    """Look for a dark line at every offset of every row of a picture.

    Parameters
    ----------
    rows : (R, D) linear grey values, `per_mm` columns a millimetre.
    px_per_mm : scale of the photo, so that over-sampling does not count as more evidence.
    """
    n = int(round(line.half_mm * per_mm))
    x = np.linspace(-n, n, 2 * n + 1) / per_mm

    grey = np.asarray(rows, dtype=np.float32)

    def along(kernel: Array, of: Single = grey) -> Single:
        out = cv2.filter2D(of, cv2.CV_32F, kernel[None, :], borderType=cv2.BORDER_REPLICATE)
        return np.asarray(out, dtype=np.float32)

    energy = along(np.ones(len(x)), grey**2)

    def rest(basis: Array) -> Single:
        q, _ = np.linalg.qr(basis)
        out = energy.copy()
        for k in range(q.shape[1]):
            coef = along(q[:, k])
            out -= coef * coef
        return np.asarray(np.maximum(out, 0.0) / np.float32(len(x)), dtype=np.float32)

    sides, ink = columns(x, line.width_mm, line.blur_mm)
    q, r = np.linalg.qr(sides)
    ink = line.level * ink
    on_q = [along(q[:, k]) - np.float32(q[:, k] @ ink) for k in range(q.shape[1])]
    whole = energy - 2 * along(ink) + np.float32(ink @ ink)
    misfit = np.maximum(whole - sum(c * c for c in on_q), 0.0) / np.float32(len(x))
    levels = np.linalg.inv(r).astype(np.float32)
    left, right = (sum(levels[side, k] * on_q[k] for k in range(4)) for side in (0, 2))
    bare = rest(columns(x - TUNED.shifts[0] * line.width_mm, 0.0, line.blur_mm)[0])
    for shift in TUNED.shifts[1:]:
        bare = np.minimum(bare, rest(columns(x - shift * line.width_mm, 0.0, line.blur_mm)[0]))
    smooth = rest(np.column_stack([np.ones_like(x), x, x * x]))
    low, high = np.minimum(left, right), np.maximum(left, right)
    half_n = line.half_mm * min(px_per_mm, per_mm)
    noise = (TUNED.floor + TUNED.share * (np.maximum(low, 0) + np.maximum(high, 0))) ** 2
    dip = half_n * np.log((bare + noise) / (misfit + noise))
    noise = (TUNED.floor + TUNED.edge_share * np.maximum(high, 0)) ** 2
    edge = np.maximum(half_n * np.log((smooth + noise) / (misfit + noise)), 0.0)

    def ends_in(behind: Array, face: Array) -> Array:
        dark = behind < TUNED.dark_times * line.level + TUNED.dark_more
        return np.where(dark & (face > behind + TUNED.face_more), edge, 0.0)

    return DarkLinesSeen(
        dip=np.where(low > line.level, np.maximum(dip, 0.0), 0.0),
        edge_high=ends_in(right, left),
        edge_low=ends_in(left, right),
    )
