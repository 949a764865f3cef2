"""The part of a photo that a picture shows: cut to the dummy with room for labels, at one width."""

from typing import Final, Protocol

import cv2
import numpy as np

from capture.arrays import Array, Pixels
from capture.camera.view import View
from capture.photo import Photo
from capture.placing import Placing
from compare.tell.draw.palette import DARK, PHOTO_WIDTH

MARGIN: Final = np.array([0.19, 0.13])  # of the dummy's width, beside it, above and below it


class Photographed(Protocol):
    """What a picture needs: the photo, its view, and where the measured plane lies."""

    @property
    def photo(self) -> Photo:
        """The photo."""

    @property
    def view(self) -> View:
        """Its solved view."""

    @property
    def placing(self) -> Placing:
        """How high above the sheet the measured plane lies."""


class Frame:
    """From millimetres of the measured plane to pixels of the finished picture.

    Parameters
    ----------
    inspection : the photo with its view.
    xy_mm : (N, 2) what must be in the picture.
    depth_mm : how far the dummy goes back from its near end; 0 = unknown.
    """

    def __init__(self, inspection: Photographed, xy_mm: Array, depth_mm: float = 0.0) -> None:
        self._view, self._z = inspection.view, inspection.placing.standoff_mm
        self._depth = depth_mm
        px = np.vstack([self.photo_px(xy_mm), self.photo_px(xy_mm, back_mm=depth_mm)])
        low, high = px.min(axis=0), px.max(axis=0)
        room = MARGIN * float(max(high[0] - low[0], 1.0))
        self.low = np.floor(low - room).astype(int)
        self.high = np.ceil(high + room).astype(int)
        self.scale = PHOTO_WIDTH / float(self.high[0] - self.low[0])

    def photo_px(self, xy_mm: Array, *, back_mm: float = 0.0) -> Array:
        """Pixels (N, 2) of the photo, of points so far behind the measured plane."""
        return self._view.project(np.column_stack([xy_mm, np.full(len(xy_mm), self._z - back_mm)]))

    def px(self, xy_mm: Array, *, back: bool = False) -> Array:
        """Pixels (N, 2) of the picture, pixel centres at integers; `back`: at the dummy's far end."""
        seen = self.photo_px(np.atleast_2d(xy_mm), back_mm=self._depth if back else 0.0)
        out: Array = (seen - self.low + 0.5) * self.scale - 0.5
        return out

    def cut(self, bgr: Pixels) -> Pixels:
        """Return the photo cut and scaled, RGB; dark where it ends."""
        height, width = bgr.shape[:2]
        low, high = np.maximum(self.low, 0), np.minimum(self.high, (width, height))
        part = bgr[low[1] : high[1], low[0] : high[0]]
        (left, top), (right, bottom) = low - self.low, self.high - high
        whole = cv2.copyMakeBorder(part, top, bottom, left, right, cv2.BORDER_CONSTANT, value=DARK[::-1])
        how = cv2.INTER_AREA if self.scale < 1 else cv2.INTER_CUBIC
        small = cv2.resize(whole, (PHOTO_WIDTH, round(whole.shape[0] * self.scale)), interpolation=how)
        return np.ascontiguousarray(small[:, :, ::-1], dtype=np.uint8)
