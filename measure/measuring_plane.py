"""The measuring plane of a photo: grey values asked for in millimetres, at points and in straightened strips.

Only the part of the photo that shows the region to be searched is kept, in linear light.
"""

from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array, Single
from capture.camera.rectify import linear_grey, resample, srgb_to_linear
from capture.camera.view import PARAMS, View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.geometry import Curve
from measure.region import Region
from measure.sheet_print import SheetPrint


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneNumbers:
    """Tuned numbers of what is read of a photo."""

    around_mm: float = 14.0
    """So much around the region is kept: a panel's surroundings reach beyond it."""
    tag_rim: float = 1.12
    """Places just outside a tag, in its white square: its corners times this, from its middle."""
    min_rims: int = 24
    """The sheet's white is known from no fewer such places, ..."""
    rim_percentile: float = 60.0
    """... as this percentile: rims that the dummy hides, or that are cut away, are fewer than those
    seen."""


TUNED = PlaneNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuringPlane:
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


def strip_along(
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    offsets: Array,
    smear_mm: float = 0.0,
    n_smear: int = 1,
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


def plane_of(
    photo: Photo, view: View, z_mm: float, region: Region, behind: SheetPrint | None = None
) -> MeasuringPlane:
    """Return the measuring plane with the part of the photo that shows the region, and some more around it.

    The view in it counts pixels from that part's corner: its principal point is moved. `behind` is the
    sheet, if it stands behind the dummy.
    """
    corners = np.array([(x, y) for x in (region.left, region.right) for y in (region.bottom, region.top)])
    low, high = corners.min(axis=0) - TUNED.around_mm, corners.max(axis=0) + TUNED.around_mm
    # Along the rim, for a lens may bow it outward.
    s = np.linspace(0, 1, 9)[:, None]
    rim = np.array([low, (high[0], low[1]), high, (low[0], high[1]), low])
    xy = np.concatenate([a + s * (b - a) for a, b in zip(rim[:-1], rim[1:], strict=True)])
    px = view.project(np.column_stack([xy, np.full(len(xy), z_mm)]))
    x0, y0 = np.clip(np.floor(px.min(axis=0)).astype(int), 0, np.array(photo.size) - 1)
    x1, y1 = np.clip(np.ceil(px.max(axis=0)).astype(int) + 1, (x0 + 1, y0 + 1), photo.size)
    params = view.params.copy()
    params[[PARAMS.index("cx"), PARAMS.index("cy")]] -= (x0, y0)
    return MeasuringPlane(
        grey=linear_grey(photo, (int(x0), int(y0), int(x1), int(y1))),
        view=replace(view, params=params),
        z_mm=z_mm,
        eye_mm=view.eye_mm(),
        behind=behind,
    )


def paper_white(photo: Photo, view: View, sheet: MarkerSheet) -> float | None:
    """Grey value of the sheet's white paper, from the rims of its tags; None if too few are seen."""
    corners = np.array(list(sheet.tags.values()))
    middle = corners.mean(axis=1, keepdims=True)
    rim = (middle + TUNED.tag_rim * (corners - middle)).reshape(-1, 2)
    at = np.rint(view.project(np.column_stack([rim, np.zeros(len(rim))]))).astype(int)
    inside = np.all((at >= 0) & (at < photo.size), axis=1)
    lit = srgb_to_linear()[photo.grey[at[inside, 1], at[inside, 0]]]
    return float(np.percentile(lit, TUNED.rim_percentile)) if len(lit) >= TUNED.min_rims else None
