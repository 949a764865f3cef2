"""A shut dummy seen from above: how bright page and field are, and roughly where the dummy lies."""

from dataclasses import dataclass

import cv2
import numpy as np
from skimage.measure import label, regionprops

from capture.arrays import Array, Single
from capture.camera.rectify import linear_grey, resample
from capture.camera.view import View
from capture.errors import Option
from capture.solved import ClosedPlane
from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import EdgeEvidence
from measure.measure_errors import MeasureError
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class ShutSceneNumbers:
    """Tuned numbers, found on path-traced photographs of shut dummies."""

    per_mm: float = 2.0
    """Samples a millimetre of the coarse picture: only a start within a millimetre is wanted."""
    inset_mm: float = 2.0
    """The ring's inner edge is left out of the picture by so much."""
    blur_px: float = 1.0
    """Standard deviation of the coarse picture's smoothing, samples."""
    rim_rows: int = 4
    """Rows at the picture's rim that show the field alone."""
    least_contrast: float = 0.04
    """Full scale = 1, linear light: what stands out from the field by more is card."""
    smallest_mm: float = 15.0
    """Side of the smallest square that is taken for a dummy."""


TUNED = ShutSceneNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ShutScene:
    """What is known of a photo of a shut dummy before its edges are measured.

    Attributes
    ----------
    plane : photo, view and heights.
    grey : (H, W) the photo in linear light.
    edges : how edges are seen in it.
    box_mm : (4, 2) corners of the smallest rectangle round the dummy, in the plane of its upper face: spine
        and tail, fore edge and tail, fore edge and head, spine and head.
    field, page : grey values of the sheet's dark field and of the dummy.
    """

    plane: ClosedPlane
    grey: Single
    edges: EdgeEvidence
    box_mm: Array
    field: float
    page: float

    @property
    def view(self) -> View:
        """The solved view."""
        return self.plane.solved.view


def shut_scene(plane: ClosedPlane) -> ShutScene:
    """Look at a photo of a shut dummy that lies on the sheet's dark field, its spine at the left.

    It may be turned by less than 45 degrees.

    Raises
    ------
    MeasureError
        If the dummy does not stand out from the sheet's dark field or does not lie within the ring.
    """
    view, name = plane.solved.view, plane.solved.photo.name
    grey = linear_grey(plane.solved.photo)
    picture, corner = _coarse_picture(grey, plane)
    n = TUNED.rim_rows
    rim = np.concatenate([picture[:n].ravel(), picture[-n:].ravel(), picture[:, :n].ravel()])
    field = float(np.median(rim))
    bright = picture[picture > field + TUNED.least_contrast]
    if bright.size < (TUNED.smallest_mm * TUNED.per_mm) ** 2:
        raise MeasureError(
            f"{name}: no shut dummy stands out from the sheet's dark field; lay it inside the ring of the "
            "uncut sheet and photograph it from above (a dark dummy: wrap its cover in white paper)"
        )
    page = float(np.median(bright))
    shapes = regionprops(label(picture > (field + page) / 2, connectivity=2))
    biggest = max(shapes, key=lambda shape: shape.area)
    y0, x0, y1, x1 = biggest.bbox
    if x0 == 0 or y0 == 0 or x1 == picture.shape[1] or y1 == picture.shape[0]:
        raise MeasureError(
            f"{name}: the shut dummy reaches over the ring of the sheet; print the sheet on larger paper (",
            Option.LARGER_PAPER,
            "), so that it lies within the ring",
        )
    points = np.asarray(biggest.coords[:, ::-1], dtype=np.float32)
    rect = np.asarray(cv2.boxPoints(cv2.minAreaRect(points)), dtype=np.float64)
    return ShutScene(
        plane=plane,
        grey=grey,
        edges=edges_of(MeasuringPlane(grey=grey, view=view, z_mm=plane.top_mm, eye_mm=view.eye_mm())),
        box_mm=_in_order(rect / TUNED.per_mm + corner),
        field=field,
        page=page,
    )


def _coarse_picture(grey: Single, plane: ClosedPlane) -> tuple[Single, Array]:
    """Smoothed picture of the field within the ring, row 0 at the bottom, and where its first sample lies."""
    left, bottom, right, top = plane.solved.sighting.sheet.window
    inset, step = TUNED.inset_mm, 1 / TUNED.per_mm
    x = np.arange(left + inset, right - inset, step)
    y = np.arange(bottom + inset, top - inset, step)
    xy = np.stack(np.meshgrid(x, y), axis=-1)
    picture = np.nan_to_num(resample(grey, plane.solved.view, plane.top_mm, xy), nan=0.0)
    smooth = cv2.GaussianBlur(picture, (0, 0), TUNED.blur_px)
    return np.asarray(smooth, dtype=np.float32), np.array([x[0], y[0]])


def _in_order(corners: Array) -> Array:
    """Corners (4, 2) counter-clockwise, bottom left first."""
    middle = corners.mean(axis=0)
    out: Array = corners[np.argsort(np.arctan2(*(corners - middle).T[::-1]))]
    return out
