"""Straight near-end stripes anywhere in the window, with no layout to expect them.

The picture, seen straight on, is turned through half a circle in small steps. At each turn every place is
asked how strongly the profile across it speaks for a near end (`measure.tracing.near_ends_in_rows`);
along each line of that direction the best stretch is taken (largest sum of what exceeds a threshold).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels, Single
from capture.sheet.marker_sheet import MarkerSheet
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane
from measure.region import Region


@dataclass(frozen=True, slots=True, kw_only=True)
class StripeSearchNumbers:
    """Tuned numbers of the search in all directions, found on path-traced photographs of known dummies."""

    per_mm: float = 6.0
    """Samples of the straightened picture per mm: a card is two of them."""
    reduce: float = 1.3
    """A photo finer than so many pixels a sample is smoothed first, that nothing is read between two,
    ..."""
    smooth: float = 0.4
    """... by that share of a sample."""
    row_mm: float = 1.0
    """Evidence is taken over so much along a line at a time, ..."""
    fine: int = 3
    """... the mean of so many rows."""
    turn_deg: float = 4.0
    """Between turns: a stripe seen two degrees off its own direction is still sharp."""
    slants: int = 8
    """Directions per turn, half a degree apart."""
    least_station: float = 7.0
    """Evidence that one millimetre must bring to be part of a stripe."""
    least_sum: float = 60.0
    """Evidence of a whole stripe beyond that, ..."""
    least_mm: float = 6.0
    """... and its length."""
    per_turn: int = 40
    """Stripes kept of each direction, ..."""
    n_keep: int = 120
    """... and of all."""
    apart_mm: float = 0.5
    """Of lines of one direction nearer to each other the best is kept."""
    pattern_mm: float = 0.6
    """A stripe whose ends lie within this of a printed line of the sheet behind lies on it, ..."""
    pattern_share: float = 0.35
    """... and counts that share."""
    same_mm: float = 0.8
    """Stripes within this and ..."""
    same_deg: float = 3.0
    """... this of a stronger one are the same."""


TUNED = StripeSearchNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stripe:
    """A straight stretch that looks like the near end of a card, and how strongly.

    Attributes
    ----------
    curve : its middle line, sheet coordinates, mm.
    score : sum over its millimetres of the evidence beyond the threshold.
    printed : whether it lies on a printed line of the sheet behind.
    """

    curve: Curve
    score: float
    printed: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Straight:
    """The measuring plane seen straight on: pixel (column, row) lies at origin + (column, row) / per_mm."""

    grey: Single
    valid: Pixels
    origin: Array
    eye: Array  # foot (2,) of the eye in the plane
    px_per_mm: float  # scale of the photo in the middle

    @property
    def middle(self) -> Array:
        """Middle (2,) of the picture, mm."""
        h, w = self.grey.shape
        out: Array = self.origin + np.array([w - 1, h - 1]) / (2 * TUNED.per_mm)
        return out


def straight_on(plane: MeasuringPlane, region: Region) -> Straight:
    """Straighten the region to be searched; masked parts are marked as not valid."""
    nx = int((region.right - region.left) * TUNED.per_mm) + 1
    ny = int((region.top - region.bottom) * TUNED.per_mm) + 1
    x = region.left + np.arange(nx) / TUNED.per_mm
    y = region.bottom + np.arange(ny) / TUNED.per_mm
    xy = np.stack(np.meshgrid(x, y), axis=-1)
    flat = plane.view.project(np.column_stack([xy.reshape(-1, 2), np.full(nx * ny, plane.z_mm)]))
    px = flat.astype(np.float32).reshape(ny, nx, 2)
    u, v = np.ascontiguousarray(px[..., 0]), np.ascontiguousarray(px[..., 1])
    h, w = plane.grey.shape
    valid = (u > 0) & (u < w - 1) & (v > 0) & (v < h - 1)
    for left, right, bottom, top in region.masked:
        valid &= ~(((x > left) & (x < right))[None, :] & ((y > bottom) & (y < top))[:, None])
    # A fine photo is reduced first, so that nothing is read between two samples.
    scale = plane.view.px_per_mm(np.array([x.mean(), y.mean()]), plane.z_mm)
    factor = scale / TUNED.per_mm
    grey = (
        cv2.GaussianBlur(plane.grey, (0, 0), TUNED.smooth * factor) if factor > TUNED.reduce else plane.grey
    )
    return Straight(
        grey=np.asarray(cv2.remap(grey, u, v, cv2.INTER_LINEAR), dtype=np.float32),
        valid=valid.astype(np.uint8),
        origin=np.array([region.left, region.bottom]),
        eye=plane.eye_mm[:2],
        px_per_mm=scale,
    )


Rows = Callable[[Array, Array, float], Array]
"""Evidence (R, D) for near ends in rows (R, D) of grey values, at offsets (D,) mm, the eye at that offset."""


def find_stripes(straight: Straight, evidence: Rows, n_keep: int = TUNED.n_keep) -> list[Stripe]:
    """Find straight stripes in all directions, strongest first, the same stripe only once.

    Parameters
    ----------
    straight : the region straightened.
    evidence : how near ends are seen across a direction; see `measure.tracing.near_ends_in_rows`.
    """
    found: list[Stripe] = []
    for turn in np.arange(0.0, 180.0, TUNED.turn_deg):
        found += _at_turn(straight, evidence, np.deg2rad(turn))
    return distinct(sorted(found, key=lambda s: -s.score), n_keep)


def _at_turn(straight: Straight, evidence: Rows, turn: float) -> list[Stripe]:
    """Stripes whose direction lies within half a turn step of `turn` (rad, from sheet x)."""
    c, s = np.cos(turn), np.sin(turn)
    along, across = np.array([c, s]), np.array([-s, c])
    h, w = straight.grey.shape
    corners = (np.array([[0, 0], [w, 0], [0, h], [w, h]]) / TUNED.per_mm) - np.array([w, h]) / (
        2 * TUNED.per_mm
    )
    n_row = int(np.ceil(np.max(np.abs(corners @ along)) / TUNED.row_mm))
    n_col = int(np.ceil(np.max(np.abs(corners @ across)) * TUNED.per_mm))
    # Turned picture: rows along the direction (finer than TUNED.row_mm, averaged below), columns across it.
    fine = TUNED.fine
    step = TUNED.row_mm / fine
    rows, cols = (2 * n_row + 1) * fine, 2 * n_col + 1
    # (column, row) of the turned picture -> pixel of the straight one.
    to_px = np.zeros((2, 3))
    to_px[:, 0] = across
    to_px[:, 1] = along * step * TUNED.per_mm
    to_px[:, 2] = np.array([w - 1, h - 1]) / 2 - to_px[:, 0] * n_col - to_px[:, 1] * ((rows - 1) / 2)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(straight.grey, to_px, (cols, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    valid = cv2.warpAffine(
        straight.valid, to_px, (cols, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    grey = turned.reshape(-1, fine, cols).mean(axis=1, dtype=np.float64)
    seen = valid.reshape(-1, fine, cols).min(axis=1) > 0
    offsets = (np.arange(cols) - n_col) / TUNED.per_mm
    base = straight.middle
    score = evidence(grey, offsets, float((straight.eye - base) @ across))
    score = np.where(seen, score, 0.0) - TUNED.least_station
    out: list[Stripe] = []
    places = (np.arange(len(score)) - (len(score) - 1) / 2) * TUNED.row_mm
    slants = np.tan(
        np.deg2rad((np.arange(TUNED.slants) - (TUNED.slants - 1) / 2) * TUNED.turn_deg / TUNED.slants)
    )
    found = best_stretches(np.hstack([_sheared(score, slant) for slant in slants]))
    for slant, total, first, last in zip(slants, *(np.split(f, TUNED.slants) for f in found), strict=True):
        for col in _crests(total):
            p0, p1 = places[first[col]] - TUNED.row_mm / 2, places[last[col]] + TUNED.row_mm / 2
            if p1 - p0 < TUNED.least_mm:
                continue
            a, b = (base + p * along + (offsets[col] + slant * p) * across for p in (p0, p1))
            out.append(Stripe(curve=Curve(a=a, b=b), score=float(total[col])))
    return out


def _sheared(score: Array, slant: float) -> Array:
    """Move every row so that lines of that slant run straight down the columns."""
    middle = (len(score) - 1) / 2
    moves = np.rint((np.arange(len(score)) - middle) * TUNED.row_mm * slant * TUNED.per_mm).astype(int)
    out = np.full_like(score, -TUNED.least_station)
    width = score.shape[1]
    for i, m in enumerate(moves):
        if m >= 0:
            out[i, : width - m] = score[i, m:]
        else:
            out[i, -m:] = score[i, : width + m]
    return out


def best_stretches(lines: Array) -> tuple[Array, NDArray[np.intp], NDArray[np.intp]]:
    """For every column: largest sum over a run of rows, and the run's first and last row (Kadane 1984).

    Source: J. Bentley, "Programming Pearls: Algorithm Design Techniques", Comm. ACM 27(9), 1984.
    """
    n = lines.shape[1]
    run, best = np.zeros(n), np.zeros(n)
    start, first, last = (np.zeros(n, dtype=np.intp) for _ in range(3))
    fresh, better = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for i, row in enumerate(lines):
        np.less_equal(run, 0, out=fresh)
        np.copyto(run, 0, where=fresh)
        np.copyto(start, i, where=fresh)
        np.add(run, row, out=run)
        np.greater(run, best, out=better)
        np.copyto(best, run, where=better)
        np.copyto(first, start, where=better)
        np.copyto(last, i, where=better)
    return best, first, last


def _crests(total: Array) -> NDArray[np.intp]:
    """Columns that are a maximum within 0.5 mm and strong enough, the strongest few."""
    k = 2 * int(TUNED.apart_mm * TUNED.per_mm) + 1
    wide = cv2.dilate(total[None, :], np.ones((1, k)))[0]
    cols = np.flatnonzero((total >= wide) & (total > TUNED.least_sum))
    return cols[np.argsort(-total[cols])][: TUNED.per_turn]


def without_pattern(stripes: list[Stripe], plane: MeasuringPlane, sheet: MarkerSheet) -> list[Stripe]:
    """Let stripes count little that lie on the printed lines of a sheet standing behind the dummy."""
    if plane.z_mm <= 0:
        return stripes
    out = [
        replace(s, score=TUNED.pattern_share * s.score, printed=True) if _on_pattern(s, plane, sheet) else s
        for s in stripes
    ]
    return sorted(out, key=lambda s: -s.score)


def _on_pattern(stripe: Stripe, plane: MeasuringPlane, sheet: MarkerSheet) -> bool:
    """Whether both ends lie, on the sheet behind, on one line of squares or tags, or on the paper's edge."""
    grow = plane.eye_mm[2] / (plane.eye_mm[2] - plane.z_mm)
    ends = plane.eye_mm[:2] + (np.array([stripe.curve.a, stripe.curve.b]) - plane.eye_mm[:2]) * grow
    for axis, count in ((0, sheet.n_cols), (1, sheet.n_rows)):
        at = ends[:, axis]
        if abs(at[0] - at[1]) > 2 * TUNED.pattern_mm:
            continue
        first = -count * sheet.square_mm / 2
        lines = first + sheet.square_mm * (np.arange(count + 1)[:, None] + np.array([-0.1, 0.0, 0.1]))
        paper = np.array([-0.5, 0.5]) * sheet.paper_mm[axis]
        every = np.concatenate([lines.ravel(), paper])
        if np.min(np.abs(every - at.mean())) < TUNED.pattern_mm:
            return True
    return False


def distinct(stripes: list[Stripe], most: int | None = None) -> list[Stripe]:
    """Drop stripes that run along a stronger one (within 0.8 mm and 3 degrees over most of their length).

    `most` ends it once so many are kept.
    """
    out: list[Stripe] = []
    places = np.linspace(0.1, 0.9, 5)[:, None]
    kept = np.zeros((0, 7))  # start, tangent, normal, length of those kept
    for s in stripes:
        curve = s.curve
        if len(kept) and _along_any(kept, curve.a + places * (curve.b - curve.a), curve.tangent):
            continue
        out.append(s)
        if len(out) == most:
            break
        kept = np.vstack([kept, [*curve.a, *curve.tangent, *curve.normal, curve.length]])
    return out


def _along_any(kept: Array, points: Array, tangent: Array) -> bool:
    """Whether points (5, 2) of a line of that direction lie along any of the lines kept (N, 7)."""
    start, way, normal, length = kept[:, 0:2], kept[:, 2:4], kept[:, 4:6], kept[:, 6]
    off = points[:, None, :] - start
    along, across = np.sum(off * way, axis=2), np.sum(off * normal, axis=2)
    near = (np.abs(across) < TUNED.same_mm) & (along > -1.0) & (along < length + 1.0)
    turned = np.abs(normal @ tangent) > np.sin(np.deg2rad(TUNED.same_deg))
    return bool(np.any((near.sum(axis=0) >= 3) & ~turned))
