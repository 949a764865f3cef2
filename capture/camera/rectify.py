"""Seeing the plane straight on: linear light, and samples at any millimetre position of the plane.

The rectified picture serves to find and to look; interpolation smooths a little. Bilinear is the
default: OpenCV 5 computes it exactly; its cubic kernel shifts a plain ramp by up to 0.05 px.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import cv2
import numpy as np

from capture.arrays import Array, Pixels, Single
from capture.camera.view import View
from capture.photo import Photo

_REC709: Final = (0.0722, 0.7152, 0.2126)
"""Luminance of linear blue, green, red (ITU-R BT.709 and IEC 61966-2-1)."""

_GRID_STEP: Final = 8
_BAND_ROWS: Final = 256


@lru_cache(maxsize=1)
def srgb_to_linear() -> Single:
    """Table (256,) from 8-bit sRGB values to linear light 0..1 (IEC 61966-2-1:1999)."""
    v = np.arange(256) / 255
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    table.setflags(write=False)
    return table


def linear_grey(photo: Photo, box: tuple[int, int, int, int] | None = None) -> Single:
    """Luminance (H, W) of the photo, or of its box (x0, y0, x1, y1), in linear light, 0..1."""
    x0, y0, x1, y1 = box if box is not None else (0, 0, *photo.size)
    part = photo.bgr[y0:y1, x0:x1]
    out = np.empty(part.shape[:2], np.float32)
    tables = [(srgb_to_linear() * np.float32(share)).reshape(1, 256) for share in _REC709]
    for top in range(0, len(out), _BAND_ROWS):  # a band at a time: no further copies of a large photo
        band = slice(top, top + _BAND_ROWS)
        blue, green, red = (
            cv2.LUT(np.ascontiguousarray(part[band, :, channel]), table)
            for channel, table in enumerate(tables)
        )
        np.add(blue, green, out=out[band])
        out[band] += red
    return out


def resample(image: Pixels | Single, view: View, z_mm: float, xy_mm: Array, *, cubic: bool = False) -> Single:
    """Values of an image at positions of the plane z = z_mm.

    Parameters
    ----------
    image : (H, W) or (H, W, C), e.g. of `linear_grey` or a photo's `bgr`; uint8 is taken as 0..255.
    view : solved camera.
    z_mm : height of the plane above the sheet.
    xy_mm : (..., 2) positions, true mm of the sheet frame.
    cubic : bicubic instead of bilinear; sharper, but biased by some hundredths of a pixel.

    Returns
    -------
    Array of shape (...) or (..., C), float32; nan outside the picture.
    """
    xy = np.asarray(xy_mm, dtype=float)
    flat = xy.reshape(-1, 2)
    px = view.project(np.column_stack([flat, np.full(len(flat), z_mm)]))
    # remap wants at most 32767 rows and columns: lay the points out in a near-square block.
    n = len(px)
    width = max(1, int(np.ceil(np.sqrt(n))))
    rows = -(-n // width) if n else 0
    block = np.full((rows * width, 2), -1e4, np.float32)
    block[:n] = px
    values = _remap(image, block.reshape(rows, width, 2), cubic).reshape(rows * width, *image.shape[2:])
    out: Single = values[:n].reshape(*xy.shape[:-1], *image.shape[2:])
    return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rectified:
    """The plane seen straight on; row 0 is the top (largest y).

    Attributes
    ----------
    image : (H, W) or (H, W, C) float32; nan where the photo does not reach.
    left_mm, top_mm : position of the CENTRE of sample [0, 0].
    per_mm : samples per mm.
    z_mm : height of the plane above the sheet.
    """

    image: Single = field(repr=False)
    left_mm: float
    top_mm: float
    per_mm: float
    z_mm: float

    def to_index(self, xy_mm: Array) -> Array:
        """(column, row) (..., 2), real numbers, of positions (..., 2) in mm."""
        xy = np.asarray(xy_mm, dtype=float)
        out: Array = np.stack([xy[..., 0] - self.left_mm, self.top_mm - xy[..., 1]], axis=-1) * self.per_mm
        return out

    def to_mm(self, index: Array) -> Array:
        """Positions (..., 2) in mm of (column, row) (..., 2)."""
        ij = np.asarray(index, dtype=float) / self.per_mm
        out: Array = np.stack([self.left_mm + ij[..., 0], self.top_mm - ij[..., 1]], axis=-1)
        return out


def rectify(
    image: Pixels | Single,
    view: View,
    bounds_mm: tuple[float, float, float, float],
    per_mm: float,
    *,
    z_mm: float = 0.0,
    cubic: bool = False,
) -> Rectified:
    """Resample an image to an upright picture of the plane z = z_mm.

    Parameters
    ----------
    bounds_mm : (left, bottom, right, top) of the outermost sample centres.
    per_mm : samples per mm.
    image, view, z_mm, cubic : as in `resample`.

    Notes
    -----
    The camera is evaluated on every 8th sample and interpolated linearly between (error about 1e-3 px at
    10 samples per mm; it grows with the square of 8 / per_mm).
    """
    left, bottom, right, top = bounds_mm
    width = round((right - left) * per_mm) + 1
    height = round((top - bottom) * per_mm) + 1
    if width < 2 or height < 2 or per_mm <= 0:
        raise ValueError(f"bounds must be (left, bottom, right, top) with an area, got {bounds_mm}")
    px = _project_grid(view, left, top, per_mm, z_mm, width, height)
    return Rectified(image=_remap(image, px, cubic), left_mm=left, top_mm=top, per_mm=per_mm, z_mm=z_mm)


def _project_grid(
    view: View, left: float, top: float, per_mm: float, z_mm: float, width: int, height: int
) -> Single:
    """Pixels (height, width, 2) of a regular grid: exact on every 8th sample, linear between.

    The knots lie where `cv2.resize` has the pixel centres of its source: at (8 k + 3.5) of the fine grid.
    """
    step = _GRID_STEP
    cols, rows = np.arange(-1, width // step + 2), np.arange(-1, height // step + 2)
    x = left + (cols * step + (step - 1) / 2) / per_mm
    y = top - (rows * step + (step - 1) / 2) / per_mm
    gx, gy = np.meshgrid(x, y)
    exact = view.project(np.column_stack([gx.ravel(), gy.ravel(), np.full(gx.size, z_mm)]))
    knots = exact.reshape(len(rows), len(cols), 2).astype(np.float32)
    fine = cv2.resize(knots, (len(cols) * step, len(rows) * step), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(fine[step : step + height, step : step + width], dtype=np.float32)


def _remap(image: Pixels | Single, px: Single, cubic: bool) -> Single:
    """Sample at (R, C, 2) pixels; nan outside."""
    if px.size == 0:
        return np.empty((*px.shape[:2], *image.shape[2:]), np.float32)
    source = image
    if image.dtype == np.uint8:  # only the part that is looked at is turned into floats
        x0, y0 = (max(int(px[:, :, k].min()) - 4, 0) for k in (0, 1))
        x1, y1 = (int(px[:, :, k].max()) + 5 for k in (0, 1))
        source = image[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)].astype(np.float32)
        if source.size == 0:
            return np.full((*px.shape[:2], *image.shape[2:]), np.nan, np.float32)
        px = px - np.array([x0, y0], np.float32)
    out = cv2.remap(  # type: ignore[call-overload]  # the stubs do not know that the second map may be None
        source,
        px,
        None,
        cv2.INTER_CUBIC if cubic else cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(float("nan"),) * 4,
    )
    return np.asarray(out, dtype=np.float32).reshape(*px.shape[:2], *image.shape[2:])
