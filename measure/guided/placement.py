"""Coarse registration: where in the photo the expected layout lies.

An oriented edge map answers "how much edge runs here in that direction"; every panel is laid over its own
map, which is widened by a few millimetres so that a faulty strip does not pull the layout away; shift, roll
and opening angle are tried on a grid. Only a start within some millimetres is wanted here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Single
from measure.geometry import rigid_motion
from measure.layout import Layout, Role
from measure.measuring_plane import MeasuringPlane
from measure.region import Region


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementNumbers:
    """Tuned numbers of the coarse registration, found on path-traced photographs of known dummies."""

    per_mm: float = 1.6
    """Samples of the coarse map per mm: a card's faces, not its thickness, make this map."""
    reduce: float = 1.3
    """The photo is reduced until it has at most so many pixels a sample."""
    line_mm: float = 10.0
    """Length of the line integral that separates edges from texture ..."""
    line_sd: float = 0.6
    """... and the standard deviation of its width, samples."""
    slack_mm: float = 4.0
    """A panel may be this far off its nominal place without losing score, ..."""
    turns_deg: tuple[int, ...] = (-8, -4, 0, 4, 8)
    """... and turned by so much; directions are told apart in steps of these."""
    full_step: float = 0.03
    """Square-root grey per sample that is already a full edge: contrast of the background must not
    outvote the shape."""
    soft: float = 0.8
    """Smoothing before the gradient, samples."""
    page_share: float = 0.6
    """So much of a page counts: its outer part is often hidden by the sheet's legs or out of the
    photo."""
    full_mm: float = 40.0
    """A shorter panel counts less."""
    n_samples: int = 7
    """Places along a panel at which the map is read, ..."""
    inside: tuple[float, float] = (0.1, 0.9)
    """... from here to there, as shares of its length."""
    apart_mm: float = 8.0
    """Best places of one roll are at least so far apart."""


TUNED = PlacementNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Placement:
    """Where the layout lies: profile coordinates turned by roll, then shifted by (x, y), are the sheet's."""

    x_mm: float
    y_mm: float
    roll_rad: float
    score: float
    layout: Layout

    def apply(self, xy_mm: Array) -> Array:
        """Sheet coordinates (N, 2) of profile points (N, 2)."""
        c, s = np.cos(self.roll_rad), np.sin(self.roll_rad)
        out: Array = xy_mm @ np.array([[c, s], [-s, c]]) + (self.x_mm, self.y_mm)
        return out


def _look_up(grey: Single, px: Single) -> Single:
    """Bilinear values (R, C) at pixel positions (R, C, 2); 0 outside the image."""
    # Two separate maps: OpenCV 5.0 reads beyond an EMPTY second map and returns garbage.
    x, y = np.ascontiguousarray(px[..., 0]), np.ascontiguousarray(px[..., 1])
    out = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(out, dtype=np.float32)


def _coarse_map(plane: MeasuringPlane, region: Region) -> Single:
    """Square-root grey values of the region at TUNED.per_mm, row 0 at the bottom, masked parts blanked."""
    nx = int((region.right - region.left) * TUNED.per_mm) + 1
    ny = int((region.top - region.bottom) * TUNED.per_mm) + 1
    xy = np.stack(
        np.meshgrid(region.left + np.arange(nx) / TUNED.per_mm, region.bottom + np.arange(ny) / TUNED.per_mm),
        axis=-1,
    )
    middle = np.array([(region.left + region.right) / 2, (region.bottom + region.top) / 2])
    scale = plane.view.px_per_mm(middle, plane.z_mm)
    factor = max(1, int(scale / TUNED.per_mm / TUNED.reduce))
    small = cv2.resize(plane.grey, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    flat = xy.reshape(-1, 2)
    px = plane.view.project(np.column_stack([flat, np.full(len(flat), plane.z_mm)]))
    # Pixel centres at integers: reduction by `factor` maps x to (x + 0.5) / factor - 0.5.
    shrink = np.array(small.shape[::-1]) / np.array(plane.grey.shape[::-1])
    at = ((px + 0.5) * shrink - 0.5).astype(np.float32)
    out = _look_up(np.asarray(small, dtype=np.float32), at.reshape(ny, nx, 2))
    return np.asarray(np.sqrt(np.maximum(out, 0)), dtype=np.float32)


def _line_kernel(angle_rad: float) -> Single:
    half = int(TUNED.line_mm * TUNED.per_mm / 2)
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(float)
    across = -x * np.sin(angle_rad) + y * np.cos(angle_rad)
    along = x * np.cos(angle_rad) + y * np.sin(angle_rad)
    kernel = np.exp(-0.5 * (across / TUNED.line_sd) ** 2) * (np.abs(along) <= half)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


class _EdgeMaps:
    """Oriented edge maps of one region, made when first asked for."""

    def __init__(self, grey: Single, allowed: NDArray[np.bool_]) -> None:
        soft = cv2.GaussianBlur(grey, (0, 0), TUNED.soft)
        self._gx = cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=0.125)
        self._gy = cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=0.125)
        self._allowed = allowed
        self._cache: dict[int, Single] = {}
        self._wide: dict[tuple[int, float], Single] = {}

    def _response(self, degrees: int) -> Single:
        if degrees not in self._cache:
            a = np.deg2rad(degrees)
            across = np.abs(-self._gx * np.sin(a) + self._gy * np.cos(a))
            along = np.abs(self._gx * np.cos(a) + self._gy * np.sin(a))
            edge = np.clip((across - along) / TUNED.full_step, 0, 1).astype(np.float32)
            edge[~self._allowed] = 0
            summed = cv2.filter2D(edge, -1, _line_kernel(a), borderType=cv2.BORDER_CONSTANT)
            self._cache[degrees] = np.asarray(summed, dtype=np.float32)
        return self._cache[degrees]

    def widened(self, angle_rad: float, slack_mm: float) -> Single:
        """Best response within +-8 degrees and +-slack of every place."""
        base = int(round(np.rad2deg(angle_rad) / 4)) * 4 % 180
        if (base, slack_mm) in self._wide:
            return self._wide[base, slack_mm]
        first, *others = TUNED.turns_deg
        best = self._response((base + first) % 180)
        for turn in others:
            best = np.asarray(np.maximum(best, self._response((base + turn) % 180)), dtype=np.float32)
        size = 2 * int(slack_mm * TUNED.per_mm) + 1
        wide = cv2.dilate(best, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
        self._wide[base, slack_mm] = np.asarray(cv2.blur(wide, (5, 5)), dtype=np.float32)
        return self._wide[base, slack_mm]


def place_layouts(
    plane: MeasuringPlane, layouts: Sequence[Layout], region: Region, rolls_rad: tuple[float, ...]
) -> list[Placement]:
    """Return the best placements of any of the layouts at any roll, best first.

    Raises
    ------
    ValueError
        If the region is empty.
    """
    if region.right <= region.left or region.top <= region.bottom:
        raise ValueError("the region to search is empty")
    grey = _coarse_map(plane, region)
    allowed = np.ones(grey.shape, dtype=bool)
    for left, right, bottom, top in region.masked:
        r0, r1 = (int((v - region.bottom) * TUNED.per_mm) for v in (bottom, top))
        c0, c1 = (int((v - region.left) * TUNED.per_mm) for v in (left, right))
        allowed[max(r0, 0) : max(r1, 0), max(c0, 0) : max(c1, 0)] = False
    maps = _EdgeMaps(grey, allowed)
    out: list[Placement] = []
    for layout in layouts:
        for roll in rolls_rad:
            out.extend(_best_shifts(maps, grey.shape, layout, region, roll))
    return sorted(out, key=lambda p: -p.score)


def place_by_joints(layouts: Sequence[Layout], at_mm: Mapping[str, Array]) -> list[Placement]:
    """Placements that lay two or more joints nearest to where they are known to be; none for fewer.

    The closed form of the two-dimensional orthogonal Procrustes problem; the score falls with the misfit.
    """
    if len(at_mm) < 2:
        return []
    out: list[Placement] = []
    for layout in layouts:
        target = np.array(list(at_mm.values()))
        source = np.array([layout.at(name) for name in at_mm])
        roll, (x, y) = rigid_motion(source, target)
        there = Placement(x_mm=float(x), y_mm=float(y), roll_rad=roll, score=0, layout=layout)
        rms = float(np.sqrt(np.mean(np.sum((there.apply(source) - target) ** 2, axis=1))))
        out.append(replace(there, score=1 / (1 + rms)))
    return sorted(out, key=lambda p: -p.score)


def _best_shifts(
    maps: _EdgeMaps, shape: tuple[int, ...], layout: Layout, region: Region, roll: float, n_best: int = 3
) -> list[Placement]:
    ny, nx = shape
    total = np.zeros((ny, nx), dtype=np.float32)
    turn = Placement(x_mm=0, y_mm=0, roll_rad=roll, score=0, layout=layout)
    for panel in layout.panels:
        ends = turn.apply(np.stack([layout.at(panel.joints[0]), layout.at(panel.joints[-1])]))
        delta = ends[1] - ends[0]
        share = TUNED.page_share if panel.role is Role.PAGE else 1.0
        response = maps.widened(float(np.arctan2(delta[1], delta[0])), TUNED.slack_mm)
        samples = ends[0] + np.linspace(*TUNED.inside, TUNED.n_samples)[:, None] * delta * share
        acc = np.zeros_like(total)
        for x, y in samples:
            acc += _shifted(response, round(y * TUNED.per_mm), round(x * TUNED.per_mm))
        total += acc / len(samples) * np.float32(min(1.0, np.hypot(*delta) / TUNED.full_mm))
    found: list[Placement] = []
    work = total.copy()
    for _ in range(n_best):
        r, c = np.unravel_index(int(np.argmax(work)), work.shape)
        found.append(
            Placement(
                x_mm=region.left + float(c) / TUNED.per_mm,
                y_mm=region.bottom + float(r) / TUNED.per_mm,
                roll_rad=roll,
                score=float(work[r, c]),
                layout=layout,
            )
        )
        k = int(TUNED.apart_mm * TUNED.per_mm)
        work[max(0, r - k) : r + k, max(0, c - k) : c + k] = -1
    return found


def _shifted(image: Single, rows: int, cols: int) -> Single:
    """out[r, c] = image[r + rows, c + cols], 0 outside."""
    out = np.zeros_like(image)
    h, w = image.shape
    r0, r1 = max(0, -rows), min(h, h - rows)
    c0, c1 = max(0, -cols), min(w, w - cols)
    if r0 < r1 and c0 < c1:
        out[r0:r1, c0:c1] = image[r0 + rows : r1 + rows, c0 + cols : c1 + cols]
    return out
