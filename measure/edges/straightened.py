"""Strips of the photo, straightened: grey values along and across a line of the measuring plane."""

from dataclasses import dataclass

import numpy as np

from capture.arrays import Array, Single
from capture.camera.rectify import resample
from capture.camera.view import View
from measure.edges.sheet_print import SheetPrint


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Plane:
    """A photo with its solved view: grey values can be asked for in millimetres of the measuring plane.

    Attributes
    ----------
    grey : (H, W) float32 in linear light, 0 to 1.
    view : the solved view.
    z_mm : height of the measuring plane above the sheet.
    eye_mm : (3,) the camera's centre in sheet coordinates.
    behind : the sheet, if it stands behind the dummy.
    """

    grey: Single
    view: View
    z_mm: float
    eye_mm: Array
    behind: SheetPrint | None = None

    def sample(self, xy_mm: Array) -> Single:
        """Grey values (...) at points (..., 2) of the plane; 0 outside the photo."""
        grey = resample(self.grey, self.view, self.z_mm, xy_mm)
        return np.nan_to_num(grey, copy=False, nan=0.0)

    def far_of(self, xy_mm: Array, depth_mm: float) -> Array:
        """Where (N, 2) the far ends of strips of that depth appear in the plane: shrunk toward the eye."""
        ratio = (self.eye_mm[2] - self.z_mm) / (self.eye_mm[2] - self.z_mm + depth_mm)
        out: Array = self.eye_mm[:2] + (xy_mm - self.eye_mm[:2]) * ratio
        return out


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


def strip_along(
    plane: Plane, curve: Curve, stations: Array, offsets: Array, smear_mm: float = 0.0, n_smear: int = 1
) -> Single:
    """Straightened strip (S, D): grey values at stations along the curve and offsets across it.

    Parameters
    ----------
    plane : where to read.
    curve : the line to follow.
    stations : (S,) in 0..1 along the curve.
    offsets : (D,) mm across, + to the left of the curve's direction.
    smear_mm, n_smear : average over that length along the curve, in that many samples.
    """
    shift = (np.arange(n_smear) - (n_smear - 1) / 2) * (smear_mm / max(n_smear, 1)) / curve.length
    s = (stations[:, None] + shift[None, :]).ravel()
    at = curve.points(s)[:, None, :] + offsets[None, :, None] * curve.normal
    grey = plane.sample(at).reshape(len(stations), n_smear, len(offsets))
    return np.asarray(grey.mean(axis=1), dtype=np.float32)
