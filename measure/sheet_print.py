"""The sheet's print behind a dummy: where its straight, strong edges are is known."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from capture.arrays import Array, Single
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.sill import printed_sill
from capture.sight.tags import white_modules


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedSheetNumbers:
    """Tuned numbers of the sheet as a background, found on path-traced photographs of dummies before it."""

    per_mm: float = 4.0
    """Pixels a millimetre of the picture."""
    beyond_mm: float = 30.0
    """The table or wall round the paper is drawn so far: as far as a dummy may stand before it."""
    spread_mm: float = 0.3
    """The paper bows a little, the standoff is not quite known."""
    shadow_mm: float = 0.7
    """Height of the shadow under the paper's lower edge."""
    ink: float = 0.04
    """Grey values, full scale = 1, linear light: printed black, ..."""
    paper: float = 1.0
    """... white paper, ..."""
    field: float = 0.08
    """... the dark field, ..."""
    around: float = 0.4
    """... and whatever lies round the paper."""
    unknown: float = 0.5
    """Neither light nor dark, or not known which."""


TUNED = PrintedSheetNumbers()


@dataclass(frozen=True, slots=True, eq=False)
class SheetPrint:
    """A picture of the sheet (rows from the top), and of what lies round it.

    Attributes
    ----------
    steps_x, steps_y : (H, W) largest step of the print near each pixel, across and up; full scale 1.
    light : (H, W) 1 where white paper is near each pixel and nothing dark, 0 where print is and no white,
        between them where both are, or where nobody knows.
    corner_mm : sheet coordinates of the centre of the first pixel.
    """

    steps_x: Single
    steps_y: Single
    light: Single
    corner_mm: tuple[float, float]

    def step_at(self, xy_mm: Array, direction: Array) -> Array:
        """Return the steps (...) of the print met along a direction (2,) at sheet points (..., 2); 0 to 1."""
        parts = [
            abs(share) * self._read(steps, xy_mm, 0.0)
            for share, steps in zip(direction, (self.steps_x, self.steps_y), strict=True)
        ]
        out: Array = np.max(parts, axis=0)
        return out

    def light_at(self, xy_mm: Array) -> Array:
        """Return how light (...) the sheet is at points (..., 2): 1 white, 0 black, between: not known."""
        return self._read(self.light, xy_mm, TUNED.unknown)

    def _read(self, picture: Single, xy_mm: Array, outside: float) -> Array:
        x = ((xy_mm[..., 0] - self.corner_mm[0]) * TUNED.per_mm).astype(np.float32)
        y = ((self.corner_mm[1] - xy_mm[..., 1]) * TUNED.per_mm).astype(np.float32)
        shape = x.shape
        out = cv2.remap(
            picture,
            np.atleast_2d(x),
            np.atleast_2d(y),
            cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=outside,
        )
        return np.asarray(out, dtype=np.float64).reshape(shape)


@lru_cache(maxsize=4)
def sheet_print(sheet: MarkerSheet) -> SheetPrint:
    """Draw the uncut sheet, with its dark field, and note its steps; each sheet is drawn once."""
    half_w, half_h = (side / 2 + TUNED.beyond_mm for side in sheet.paper_mm)
    picture = np.full(
        (int(2 * half_h * TUNED.per_mm), int(2 * half_w * TUNED.per_mm)), TUNED.around, np.float32
    )

    def fill(left: float, bottom: float, right: float, top: float, grey: float) -> None:
        x0, x1 = (round((x + half_w) * TUNED.per_mm) for x in (left, right))
        y0, y1 = (round((half_h - y) * TUNED.per_mm) for y in (top, bottom))
        picture[y0:y1, x0:x1] = grey

    w, h = sheet.paper_mm
    fill(-w / 2, -h / 2 - TUNED.shadow_mm, w / 2, -h / 2, TUNED.ink)
    fill(-w / 2, -h / 2, w / 2, h / 2, TUNED.paper)
    fill(*sheet.window, TUNED.field)
    side = sheet.square_mm
    for x, y in sheet.black_squares:
        fill(x, y, x + side, y + side, TUNED.ink)
    for tag_id, corners in sheet.tags.items():
        fill(corners[3, 0], corners[3, 1], corners[1, 0], corners[1, 1], TUNED.ink)
        for x, y, module in white_modules(tag_id, corners):
            fill(x, y, x + module, y + module, TUNED.paper)
    if sheet.fold_mm is not None:
        for part in printed_sill(sheet).parts:
            width, depth = part.cell_mm
            for x, y in part.black_cells:
                fill(x, y, x + width, y + depth, TUNED.ink)
            for corners in part.tags.values():
                fill(corners[3, 0], corners[3, 1], corners[1, 0], corners[1, 1], TUNED.around)
    near = 2 * round(TUNED.spread_mm * TUNED.per_mm) + 1
    steps = []
    for axis in (1, 0):
        step = np.abs(np.diff(picture, axis=axis, append=np.take(picture, [-1], axis=axis)))
        window = np.ones((1, near) if axis == 1 else (near, 1), np.uint8)
        steps.append(np.asarray(cv2.dilate(step, window), np.float32))
    grown = np.ones((near, near), np.uint8)
    least, most = cv2.erode(picture, grown), cv2.dilate(picture, grown)
    light = np.where(least > TUNED.around, 1.0, np.where(most < TUNED.around, 0.0, TUNED.unknown))
    corner = (-half_w + 0.5 / TUNED.per_mm, half_h - 0.5 / TUNED.per_mm)
    return SheetPrint(steps_x=steps[0], steps_y=steps[1], light=light.astype(np.float32), corner_mm=corner)
