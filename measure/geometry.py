"""Lines of the measuring plane: curves, where they cross, how far points lie off them."""

import math
from dataclasses import dataclass

import numpy as np
from skimage.transform import EuclideanTransform

from capture.arrays import Array


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """A straight or slightly bowed line in the plane, from a to b, offset by d0, d1 and a bow in the middle.

    Point at station s in 0..1: a + s (b - a) + n (d0 (1 - s) + d1 s + 4 bow s (1 - s)), n the normal.
    """

    a: Array
    b: Array
    d0: float = 0.0
    d1: float = 0.0
    bow: float = 0.0

    @property
    def length(self) -> float:
        """Length of the base line a-b, mm."""
        return float(np.hypot(*(self.b - self.a)))

    @property
    def tangent(self) -> Array:
        """Unit vector (2,) from a to b."""
        out: Array = (self.b - self.a) / self.length
        return out

    @property
    def normal(self) -> Array:
        """Unit vector (2,) to the left of a-b."""
        t = self.tangent
        return np.array([-t[1], t[0]])

    def offset(self, s: Array) -> Array:
        """Offsets (N,) from the base line at stations s (N,) in 0..1 (may lie outside)."""
        out: Array = self.d0 * (1 - s) + self.d1 * s + 4 * self.bow * s * (1 - s)
        return out

    def points(self, s: Array) -> Array:
        """Points (N, 2) at stations s."""
        out: Array = self.a + np.outer(s, self.b - self.a) + np.outer(self.offset(s), self.normal)
        return out

    def straightened(self) -> "Curve":
        """Return the same curve on its own chord: d0 = d1 = 0 (the bow stays, exact for small offsets)."""
        ends = self.points(np.array([0.0, 1.0]))
        return Curve(a=ends[0], b=ends[1], bow=self.bow)


def cross_point(p: Array, v: Array, q: Array, w: Array) -> Array:
    """Intersections (N, 2) of lines p + t v and q + u w (all (N, 2)); nan where parallel."""
    det = v[:, 0] * w[:, 1] - v[:, 1] * w[:, 0]
    d = q - p
    parallel = np.abs(det) < 1e-12
    t = (d[:, 0] * w[:, 1] - d[:, 1] * w[:, 0]) / np.where(parallel, 1.0, det)
    t = np.where(parallel, np.nan, t)
    out: Array = p + t[:, None] * v
    return out


def rigid_motion(source: Array, target: Array) -> tuple[float, Array]:
    """Rotation (rad) and shift (2,) that bring points (N, 2) best on to others, N > 1: R p + shift.

    Least squares; of points that all coincide the rotation is 0.
    """
    motion = EuclideanTransform.from_estimate(source, target)
    if not motion:
        return 0.0, np.asarray(target.mean(axis=0) - source.mean(axis=0), dtype=np.float64)
    return float(motion.rotation), np.asarray(motion.translation, dtype=np.float64)


def crossing(a: Curve, b: Curve) -> Array:
    """Point (2,) where the chords of two curves cross; nan where they are parallel."""
    out: Array = cross_point(a.a[None], a.tangent[None], b.a[None], b.tangent[None])[0]
    return out


def meeting(a: Curve, b: Curve, n_steps: int = 4) -> Array:
    """Point (2,) where two curves on their own chords (d0 = d1 = 0), bowed or not, cross; near their chords'.

    Newton's method on the two distances, written out in plain numbers: it is called thousands of times where
    uncertainties are found by differences.
    """
    lines = []
    for curve in (a, b):
        (x0, y0), (x1, y1) = curve.a.tolist(), curve.b.tolist()
        length = math.hypot(x1 - x0, y1 - y0)
        lines.append((x0, y0, (x1 - x0) / length, (y1 - y0) / length, length, float(curve.bow)))
    at = crossing(a, b)
    x, y = float(at[0]), float(at[1])
    for _ in range(n_steps):
        rows = []
        for x0, y0, tx, ty, length, bow in lines:
            s = ((x - x0) * tx + (y - y0) * ty) / length
            slope = 4 * bow * (1 - 2 * s) / length
            off = (x - x0) * -ty + (y - y0) * tx - 4 * bow * s * (1 - s)
            rows.append((-ty - slope * tx, tx - slope * ty, off))
        (p, q, e), (r, t, f) = rows
        det = p * t - q * r
        if det == 0 or not math.isfinite(det):
            break
        x, y = x - (e * t - q * f) / det, y - (p * f - e * r) / det
    return np.array([x, y])
