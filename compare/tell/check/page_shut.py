"""The report's photo of the shut dummy: its outline as measured, the page, and what sticks out beyond it."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import cv2
import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from capture.camera.view import View
from capture.photo import Photo
from capture.placing import Placing
from compare.jobs.shut_photo import ShutPhoto
from compare.tell.draw import svg
from compare.tell.draw.marks import Line
from compare.tell.draw.palette import DESIGN, FAULT, MEASURED
from compare.tell.draw.photo_frame import Frame
from measure.shut.shut_outline import SEEN_MM

QUALITY: Final = 80
ON_SCREEN: Final = 0.6  # as in the photo of the open dummy
ENDS: Final[Mapping[str, tuple[int, int]]] = MappingProxyType(
    {"tail": (0, 1), "fore edge": (1, 2), "head": (2, 3), "spine": (3, 0)}
)
"""Edge -> the corners of `ClosedOutline.corners_mm` between which it runs."""


@dataclass(frozen=True, slots=True)
class ShutFigure:
    """The embedded picture (width, height px; base64 JPEG) and what is drawn over it."""

    width: int
    height: int
    jpeg: str
    drawn: Markup


@dataclass(frozen=True, slots=True)
class _FromAbove:
    """The photo of the shut dummy as `photo_frame.Photographed`: the plane of its upper face."""

    photo: Photo
    view: View
    placing: Placing


def shut_figure(closed: ShutPhoto) -> ShutFigure:
    """Cut the photo to the shut dummy and draw over it the page and the outline as measured."""
    outline = closed.outline
    placing = Placing(use="backdrop", standoff_mm=closed.thickness_mm, standoff_err_mm=0.0, view=closed.view)
    every = np.vstack([outline.corners_mm, *outline.silhouettes_mm.values()])
    frame = Frame(_FromAbove(closed.photo, closed.view, placing), every)
    picture = frame.cut(closed.photo.bgr)
    ok, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    page = np.vstack([outline.corners_mm, outline.corners_mm[:1]])
    lines = [Line(frame.px(page), DESIGN, "the page")]
    for edge, points in outline.silhouettes_mm.items():
        if len(points) < 2:
            continue
        lines.append(Line(frame.px(points), MEASURED, f"{edge}, as measured"))
        for run in _beyond(points, outline.corners_mm, edge):
            lines.append(Line(frame.px(run), FAULT, f"beyond the {edge}"))
    height, width = picture.shape[:2]
    return ShutFigure(
        width=width,
        height=height,
        jpeg=base64.b64encode(data.tobytes()).decode("ascii"),
        drawn=svg.drawn(lines, on_screen=ON_SCREEN),
    )


def _beyond(points: Array, corners: Array, edge: str) -> list[Array]:
    """Return the stretches of one edge's silhouette that lie outside the page by more than it is rough."""
    a, b = (corners[k] for k in ENDS[edge])
    way = (b - a) / np.hypot(*(b - a))
    normal = np.array([way[1], -way[0]])
    if float(normal @ (corners.mean(axis=0) - a)) > 0:
        normal = -normal
    out = (points - a) @ normal > SEEN_MM
    edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(np.int8), [0]])))
    return [points[i:j] for i, j in zip(edges[::2], edges[1::2], strict=True) if j - i > 1]
