"""Pictures of a marker sheet whose every pixel follows from a known camera; shared by the capture tests.

The sheet is drawn as exact cells (20 per mm: every edge of a square or a module falls on a cell border), seen
through `View.project`'s own lens, and integrated over each pixel's area.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline

from capture.arrays import Array, Pixels, Single
from capture.camera.view import View
from capture.sheet.apron import ApronHalf
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import SHEETS, MarkerSheet, arch_outline
from capture.sight.tags import tag_bits

CELLS_PER_MM = 20
PHONE = (4000, 3000)


@lru_cache(maxsize=4)
def sheet_cells(paper: str, arch: bool = False) -> Pixels:
    """Reflectance code of the sheet (0 black, 255 white, 28 dark field, 128 where paper was cut away)."""
    sheet = SHEETS[paper]
    k = CELLS_PER_MM
    w, h = round(sheet.paper_mm[0] * k), round(sheet.paper_mm[1] * k)

    def cell(x: float, y: float) -> tuple[int, int]:
        return round((x + sheet.paper_mm[0] / 2) * k), round((sheet.paper_mm[1] / 2 - y) * k)

    out = np.full((h, w), 255, np.uint8)
    (c0, r1), (c1, r0) = cell(*sheet.window[:2]), cell(*sheet.window[2:])
    out[r0:r1, c0:c1] = 28
    _draw_checks(out, sheet.black_squares, sheet.square_mm, sheet.tags, (w / 2, h / 2))
    if arch:
        gone = np.full_like(out, 255)
        outline = (arch_outline(sheet) + np.array(sheet.paper_mm) / 2) * k
        outline[:, 1] = h - outline[:, 1]
        cv2.fillPoly(gone, [np.round(outline).astype(np.int32)], 0)
        out[gone > 0] = 128
    return out


def camera(
    *,
    eye: tuple[float, float, float] = (0.0, 60.0, 600.0),
    target: tuple[float, float] = (0.0, 0.0),
    roll_deg: float = 0.0,
    f35_mm: float = 50.0,
    size: tuple[int, int] = PHONE,
    k1: float = 0.0,
    k2: float = 0.0,
    centre_px: tuple[float, float] = (0.0, 0.0),
    print_scale: tuple[float, float] = (1.0, 1.0),
) -> View:
    """Camera at `eye` (mm) looking at `target` on the sheet; `centre_px` off the picture's middle."""
    back = np.array(eye) - [*target, 0.0]
    back /= np.linalg.norm(back)
    right = np.cross([0.0, 1.0, 0.0], back)
    right /= np.linalg.norm(right)
    up = np.cross(back, right)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    rot = np.stack([c * right + s * up, -(c * up - s * right), -back])
    rvec = cv2.Rodrigues(rot)[0].ravel()
    focal = f35_mm * np.hypot(*size) / np.hypot(36, 24)
    params = np.array(
        [
            *rvec,
            *(-rot @ np.array(eye)),
            np.log(focal),
            k1,
            k2,
            (size[0] - 1) / 2 + centre_px[0],
            (size[1] - 1) / 2 + centre_px[1],
            np.log(print_scale[0]),
            np.log(print_scale[1]),
        ]
    )
    return View(params=params, cov=np.zeros((13, 13)), size=size, rms_px=0.0, n_saddles=0)


def plane_map(view: View, step: int = 8) -> Array:
    """Return true sheet mm (H, W, 2) of every pixel: exact on a grid, a cubic spline between."""
    w, h = view.size
    cols = np.arange(-2 * step, w + 3 * step, step, dtype=float)
    rows = np.arange(-2 * step, h + 3 * step, step, dtype=float)
    grid = np.stack(np.meshgrid(cols, rows), axis=-1)
    mm = view.to_plane(grid.reshape(-1, 2)).reshape(grid.shape)
    return np.stack(
        [RectBivariateSpline(rows, cols, mm[:, :, i])(np.arange(h), np.arange(w)) for i in (0, 1)], axis=-1
    )


def picture(
    view: View,
    paper: str = "a4",
    *,
    arch: bool = False,
    levels: tuple[float, float] = (25.0, 215.0),
    background: float = 110.0,
    blur_px: float = 0.0,
    noise: float = 0.0,
    samples: int = 3,
    rng: np.random.Generator | None = None,
    aprons: Sequence[tuple[ApronHalf, View]] = (),
) -> Pixels:
    """Grey picture of the sheet as `view` sees it, integrated over pixels, then blurred and made noisy.

    `paper` may be "board". Each of `aprons` is a half of the apron and the camera as seen from it.
    """
    cells = board_cells() if paper == "board" else sheet_cells(paper, arch)
    reflect = cells.astype(np.float32) / 255 * (levels[1] - levels[0]) + levels[0]
    if arch:
        reflect[cells == 128] = background
    total = seen(view, reflect, (cells.shape[1] / 2, cells.shape[0] / 2), samples, background)
    for half, camera_there in aprons:
        strip = apron_cells(half).astype(np.float32) / 255 * (levels[1] - levels[0]) + levels[0]
        left = 0.0 if half.side == "right" else -80.0
        origin = (-left * CELLS_PER_MM, 0.0)
        over = seen(camera_there, strip, origin, samples, -1000.0)
        share = seen(camera_there, np.ones_like(strip), origin, samples, 0.0)
        total = np.where(share > 0.999, over, total)
    if blur_px:
        total = cv2.GaussianBlur(total, (0, 0), blur_px)
    if noise:
        assert rng is not None
        total = total + rng.normal(0, noise, total.shape).astype(np.float32)
    return np.clip(np.rint(total), 0, 255).astype(np.uint8)


def seen(
    view: View,
    reflect: Single,
    origin: tuple[float, float],
    samples: int,
    background: float,
) -> Single:
    """Cells of a plane, its (0, 0) at cell `origin` (column, row), as `view` sees them."""
    mm = plane_map(view) / np.exp(view.params[11:13])
    col = mm[:, :, 0] * CELLS_PER_MM + origin[0] - 0.5
    row = origin[1] - mm[:, :, 1] * CELLS_PER_MM - 0.5
    across = np.stack([np.gradient(a, axis=1) for a in (col, row)])
    down = np.stack([np.gradient(a, axis=0) for a in (col, row)])
    # each sample stands for a patch of cells: average them first, or thin edges fall between samples
    cells = np.sqrt(np.median(np.abs(across[0] * down[1] - across[1] * down[0]))) / samples
    patch = 2 * round((cells - 1) / 2) + 1
    if patch >= 3:
        reflect = np.asarray(cv2.blur(reflect, (patch, patch)), np.float32)
    total = np.zeros(col.shape, np.float32)
    offsets = (np.arange(samples) + 0.5) / samples - 0.5
    for dy in offsets:
        for dx in offsets:
            total += cv2.remap(
                reflect,
                (col + dx * across[0] + dy * down[0]).astype(np.float32),
                (row + dx * across[1] + dy * down[1]).astype(np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=background,
            )
    return total / samples**2


@lru_cache(maxsize=1)
def board_cells() -> Pixels:
    """Reflectance code of the calibration board on A4."""
    k = CELLS_PER_MM
    w, h = round(BOARD.paper_mm[0] * k), round(BOARD.paper_mm[1] * k)
    out = np.full((h, w), 255, np.uint8)
    _draw_checks(out, BOARD.black_squares, BOARD.square_mm, BOARD.tags, (w / 2, h / 2))
    return out


@lru_cache(maxsize=2)
def apron_cells(half: ApronHalf) -> Pixels:
    """Reflectance code of one half of the apron below its fold line."""
    k = CELLS_PER_MM
    out = np.full((30 * k, 80 * k), 255, np.uint8)
    out[: 4 * k] = 28
    tick = round(0.3 * k)
    out[: 4 * k, slice(0, tick) if half.side == "right" else slice(-tick, None)] = 255
    left = 0.0 if half.side == "right" else -80.0
    _draw_checks(out, half.black_squares, 8.0, half.tags, (-left * k, 0.0))
    return out


def _draw_checks(
    out: Pixels,
    black_squares: Array,
    square_mm: float,
    tags: Mapping[int, Array],
    origin: tuple[float, float],
) -> None:
    k, side = CELLS_PER_MM, round(square_mm * CELLS_PER_MM)
    for x, y in black_squares:
        col, row = round(origin[0] + x * k), round(origin[1] - y * k)
        out[row - side : row, col : col + side] = 0
    for tag_id, corners in tags.items():
        col, row = round(origin[0] + corners[0, 0] * k), round(origin[1] - corners[0, 1] * k)
        module = round((corners[1, 0] - corners[0, 0]) * k / 8)
        bits = np.kron(tag_bits(tag_id).astype(np.uint8) * 255, np.ones((module, module), np.uint8))
        out[row : row + len(bits), col : col + len(bits)] = bits


def from_apron(view: View, place_mm: Array, turn: Array) -> View:
    """Return the camera as seen from an apron: its spine at `place_mm` (3,) on the sheet, turned (3, 3)."""
    rot, _ = cv2.Rodrigues(view.params[:3])
    params = view.params.copy()
    params[:3] = cv2.Rodrigues(rot @ turn)[0].ravel()
    params[3:6] = rot @ place_mm + view.params[3:6]
    return replace(view, params=params)


def true_saddles(view: View, sheet: MarkerSheet) -> Array:
    """Pixels (N, 2) of all saddles of the printed sheet."""
    xy = sheet.saddles * np.exp(view.params[11:13])
    return view.project(np.column_stack([xy, np.zeros(len(xy))]))
