"""Pictures of one near end at an exactly known place of the plane, through a distorting lens.

Grey values are linear light. A pixel's own box (variance 1/12 px^2) under a blur of 0.9 px has the shape of a
Gaussian within a thousandth of the step: so every pixel's value is a sum of normal distribution functions of
its exact distance from the edges.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from capture.arrays import Array, Single
from capture.camera.view import View
from measure.edges.detectors import edges_of
from measure.geometry import Curve
from measure.layout import Card, Layout
from measure.measuring_plane import MeasuringPlane
from measure.region import Region
from measure.scene import Scene
from tests.capture.test_capture_scene import camera

BLUR_PX = 0.9


def close_camera(
    px_per_mm: float = 10.0,
    size: tuple[int, int] = (560, 300),
    shift_px: tuple[float, float] = (0.0, 0.0),
    eye: tuple[float, float, float] = (20.0, 55.0, 600.0),
) -> View:
    """Camera 0.6 m away that sees some 56 mm by 30 mm of the plane through a lens that bends by 4 px."""
    focal = px_per_mm * eye[2]
    return camera(
        eye=eye,
        roll_deg=3.0,
        f35_mm=focal * np.hypot(36, 24) / np.hypot(*size),
        size=size,
        k1=-20.0,
        k2=300.0,
        centre_px=shift_px,
    )


def pixel_mm(view: View, z_mm: float = 0.0) -> tuple[Array, float]:
    """Millimetres (H, W, 2) of every pixel of the plane, and the mm per pixel at the picture's middle."""
    w, h = view.size
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).reshape(-1, 2)
    mm = view.to_plane(grid, z_mm).reshape(h, w, 2)
    return mm, 1.0 / view.px_per_mm(mm[h // 2, w // 2], z_mm)


def across_and_along(curve: Curve, mm: Array) -> tuple[Array, Array]:
    """Signed distance (left is +) of points from a curve, and their station along it."""
    s = (mm - curve.a) @ curve.tangent / curve.length
    away = (mm - curve.a) @ curve.normal - curve.offset(s)
    slope = (curve.d1 - curve.d0 + 4 * curve.bow * (1 - 2 * s)) / curve.length
    # distance from the tangent: a bow of 1 mm in 40 mm bends by no more than 0.005 mm within 1.5 mm
    return away / np.hypot(1, slope), s


def near_end_picture(
    view: View,
    curve: Curve,
    levels: Sequence[float],
    *,
    card_mm: float = 0.3,
    blur_px: float = BLUR_PX,
    noise: float = 0.0,
    rng: np.random.Generator | None = None,
) -> Single:
    """Picture (H, W): right of the curve the first level, then the cut edge, left of it the last level."""
    mm, mm_per_px = pixel_mm(view)
    away, s = across_and_along(curve, mm)
    sd = np.hypot(blur_px, 12**-0.5) * mm_per_px
    right, stripe, left = levels
    out = (
        right
        + (stripe - right) * ndtr((away + card_mm / 2) / sd)
        + (left - stripe) * ndtr((away - card_mm / 2) / sd)
    )
    beyond = (s < -0.01) | (s > 1.01)
    out[beyond] = left
    if noise:
        assert rng is not None
        out = out + rng.normal(0, noise, out.shape)
    return out.astype(np.float32)


def plane_of(view: View, grey: Single) -> MeasuringPlane:
    return MeasuringPlane(grey=grey, view=view, z_mm=0.0, eye_mm=view.eye_mm())


def scene_of(
    plane: MeasuringPlane, card: Card, *, tone: float | None = None, white: float | None = None
) -> Scene:
    """A scene in which nothing is expected but that card, anywhere."""
    anywhere = Region(left=-1e3, right=1e3, bottom=-1e3, top=1e3, table_mm=None)
    return Scene(
        edges=edges_of(plane),
        layout=Layout.of_nothing(card),
        region=anywhere,
        blur_px=BLUR_PX,
        tone=tone,
        white=white,
    )
