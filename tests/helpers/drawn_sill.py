"""Pictures of a sheet whose lower end lies folded on the page, every place of it known exactly."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from capture.arrays import Array, Pixels, Single
from capture.camera.view import View
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.sill import DOORSTEP, Sill, SillPart
from capture.sight.tags import tag_bits
from tests.capture.test_capture_scene import CELLS_PER_MM, from_apron, picture, seen, sheet_cells

LEVELS = (25.0, 215.0)
BACKGROUND = 110.0


@dataclass(frozen=True, kw_only=True)
class Lies:
    """How a piece lies: the paper is folded along y = height + slope x, by so much over a right angle."""

    height_mm: float
    slope: float = 0.0
    spring_deg: float = 0.0

    @property
    def turn(self) -> Array:
        """Columns: where the flat paper's x, y and normal point once it is folded."""
        angle, spring = np.arctan(self.slope), np.radians(self.spring_deg)
        along = np.array([np.cos(angle), np.sin(angle), 0.0])
        up = np.array([-np.sin(angle), np.cos(angle), 0.0])
        back = -(np.sin(spring) * up + np.cos(spring) * np.array([0.0, 0.0, 1.0]))
        by_line = np.column_stack([along, back, np.cross(along, back)])
        c, s = np.cos(angle), np.sin(angle)
        out: Array = by_line @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        return out

    def at(self, xy_mm: Array) -> Array:
        """Places (N, 3) of points of the flat paper (N, 2), for a print at its true size."""
        out: Array = (xy_mm - [0.0, self.height_mm]) @ self.turn[:, :2].T + [0.0, self.height_mm, 0.0]
        return out


def part_cells(part: SillPart, sill: Sill, height_mm: float) -> tuple[Single, tuple[float, float]]:
    """Grey values of a piece below the printed fold line, and the cell where the real fold meets the tick."""
    k = CELLS_PER_MM
    left, right = part.span_mm
    out = np.full((round(sill.depth_mm * k), round((right - left) * k)), 255, np.uint8)

    def fill(x: float, y: float, w: float, d: float, value: int) -> None:
        col, row = round((x - left) * k), round((sill.fold_mm - y - d) * k)
        out[row : row + round(d * k), col : col + round(w * k)] = value

    for x, y in part.black_cells:
        fill(x, y, *part.cell_mm, 0)
    for tag_id, corners in part.tags.items():
        size = np.rint((corners[1] - corners[3]) * k).astype(int)
        bits = tag_bits(tag_id).astype(np.uint8) * 255
        image = cv2.resize(bits, (int(size[0]), int(size[1])), interpolation=cv2.INTER_NEAREST)
        col, row = round((corners[0, 0] - left) * k), round((sill.fold_mm - corners[0, 1]) * k)
        out[row : row + len(image), col : col + image.shape[1]] = image
    grey = out.astype(np.float32) / 255 * (LEVELS[1] - LEVELS[0]) + LEVELS[0]
    return grey, (-left * k, (sill.fold_mm - height_mm) * k)


def _rim(part: SillPart, sill: Sill) -> Array:
    """Corners (4, 2) of a piece on the flat paper."""
    return np.array([(x, sill.fold_mm - y) for x in part.span_mm for y in (0.0, sill.depth_mm)])


def _lay(
    total: Single,
    view: View,
    strip: tuple[Single, tuple[float, float]],
    corners: Array,
    frame: tuple[Array, Array],
    samples: int,
) -> None:
    """Draw a strip (grey values, cell of its origin) in its frame (place, turn), only where it is seen."""
    v = view.project(corners)[:, 1]
    first, last = max(int(v.min()) - 8, 0), min(int(v.max()) + 8, view.size[1])
    params = view.params.copy()
    params[10] -= first
    rows = replace(view, params=params, size=(view.size[0], last - first))
    there = from_apron(rows, *frame)
    over = seen(there, *strip, samples, -1000.0)
    share = seen(there, np.ones_like(strip[0]), strip[1], samples, 0.0)
    total[first:last] = np.where(share > 0.999, over, total[first:last])


def doorstep_picture(
    view: View, places: Sequence[Array], turns: Sequence[Array], rng: np.random.Generator
) -> Pixels:
    """Grey picture of an uncut sheet and, before it, the doorstep's halves: places of their ticks, turns."""
    total = picture(view, samples=2).astype(np.float32)
    for part, place, turn in zip(DOORSTEP.parts, places, turns, strict=True):
        corners = _rim(part, DOORSTEP) @ turn[:, :2].T + place
        _lay(total, view, part_cells(part, DOORSTEP, 0.0), corners, (place, turn), 4)
    total = cv2.GaussianBlur(total, (0, 0), 0.8) + rng.normal(0, 3.0, total.shape)
    return np.clip(np.rint(total), 0, 255).astype(np.uint8)


def folded_picture(
    view: View,
    sheet: MarkerSheet,
    sill: Sill,
    lies: Sequence[Lies],
    *,
    blur_px: float = 0.8,
    noise: float = 0.0,
    rng: np.random.Generator | None = None,
    samples: int = 5,
) -> Pixels:
    """Grey picture of the sheet with its window cut out and its sill folded forward."""
    k = CELLS_PER_MM
    cells = sheet_cells(sheet.paper, True).astype(np.float32)
    grey = cells / 255 * (LEVELS[1] - LEVELS[0]) + LEVELS[0]
    grey[cells == 128] = BACKGROUND
    fold_row = round((sheet.paper_mm[1] / 2 - sill.fold_mm) * k)
    if sheet.fold_mm is not None:
        lowest = float(sheet.black_squares[:, 1].min())
        grey[round((sheet.paper_mm[1] / 2 - lowest) * k) : fold_row] = LEVELS[1]
        left, _, right, _ = sheet.window
        cols = slice(round((left + sheet.paper_mm[0] / 2) * k), round((right + sheet.paper_mm[0] / 2) * k))
        grey[:fold_row, cols][grey[:fold_row, cols] == LEVELS[1]] = BACKGROUND
    grey[fold_row:] = BACKGROUND
    total = seen(view, grey, (cells.shape[1] / 2, cells.shape[0] / 2), 2, BACKGROUND)
    for part, how in zip(sill.parts, lies, strict=True):
        place = np.array([0.0, how.height_mm, 0.0])
        strip = part_cells(part, sill, how.height_mm)
        _lay(total, view, strip, how.at(_rim(part, sill)), (place, how.turn), samples)
    total = cv2.GaussianBlur(total, (0, 0), blur_px)
    if noise:
        assert rng is not None
        total = total + rng.normal(0, noise, total.shape).astype(np.float32)
    return np.clip(np.rint(total), 0, 255).astype(np.uint8)
