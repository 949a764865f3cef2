"""The four sides of a shut dummy seen from above: where its silhouette lies, and what of it is the page.

The silhouette is where the grey value passes half way between field and card: for a blurred step in linear
light that is the edge's own place.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Single
from capture.camera.rectify import resample
from capture.camera.view import View
from capture.solved import ClosedPlane

STATION_MM = 0.5
STEP_MM = 0.05
INSIDE_MM, OUTSIDE_MM = 6.0, 40.0
CORNER_MM = 1.5  # stretches at the corners that are not used
LEAST_SHARE = 0.12  # of an edge must show the page itself
CLUSTER_MM = 0.35  # places that belong to one straight edge
GAP_MM = 2.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """One side: a straight start line a-b (mm, top plane), outward normal, silhouettes at its stations."""

    edge: str
    a: Array
    b: Array
    out: Array
    along: Array  # (S,) mm from a
    top: Array  # (S,) silhouette beyond the start line, in the top plane, mm; nan = not seen
    card: Array  # (S,) the same in the plane of card that sticks out


def side_of(
    grey: Single, view: View, plane: ClosedPlane, box: Array, k: int, field: float, page: float
) -> Side:
    """Silhouettes across one side of the box (k: 0 tail, 1 fore edge, 2 head, 3 spine)."""
    edge = ("tail", "fore edge", "head", "spine")[k]
    a, b = box[k], box[(k + 1) % 4]
    if edge in ("head", "spine"):
        a, b = b, a  # from the spine outwards, from the tail upwards
    way = (b - a) / np.hypot(*(b - a))
    out = np.array([way[1], -way[0]])
    if float(out @ ((a + b) / 2 - box.mean(axis=0))) < 0:
        out = -out
    length = float(np.hypot(*(b - a)))
    along = np.arange(CORNER_MM, length - CORNER_MM, STATION_MM)
    places: list[Array] = []
    for z in (plane.top_mm, plane.card_mm):
        across = np.arange(-INSIDE_MM, OUTSIDE_MM, STEP_MM)
        xy = a + along[:, None, None] * way + across[None, :, None] * out
        profile = resample(grey, view, z, xy).astype(np.float64)
        left, bottom, right, top = plane.solved.sighting.sheet.window
        inside = (xy[..., 0] > left + 1) & (xy[..., 0] < right - 1)
        inside &= (xy[..., 1] > bottom + 1) & (xy[..., 1] < top - 1)
        profile = np.where(inside, profile, field)
        places.append(np.array([silhouette(row, across, field, page) for row in profile]))
    return Side(edge=edge, a=a, b=b, out=out, along=along, top=places[0], card=places[1])


def way_of(side: Side) -> Array:
    """Return the unit vector (2,) along a side."""
    out: Array = (side.b - side.a) / np.hypot(*(side.b - side.a))
    return out


def silhouette(profile: Array, across: Array, field: float, page: float) -> float:
    """Place of the edge at which a profile that begins on card gives way to the field; nan if it does not.

    A dark gap of less than `GAP_MM` is the shadow of the page on card that sticks out under it, not the end.
    """
    h = float(across[1] - across[0])
    above = profile > field + 0.3 * (page - field)
    if not above[0]:
        return float("nan")
    dark = [(first, last) for first, last in runs(~above) if (last - first + 1) * h >= GAP_MM]
    if not dark:
        return float("nan")
    k = dark[0][0] - 1
    inner = profile[max(k - int(1.4 / h), 0) : max(k - int(0.5 / h), 1)]
    outer = profile[k + int(0.5 / h) : k + int(1.4 / h)]
    if len(outer) == 0:
        return float("nan")
    half = (float(np.median(inner)) + float(np.median(outer))) / 2
    i = int(np.flatnonzero(profile[: k + int(0.5 / h)] > half)[-1])
    if i + 1 >= len(profile) or profile[i] == profile[i + 1]:
        return float("nan")
    return float(across[i] + h * (profile[i] - half) / (profile[i] - profile[i + 1]))


def page_line(side: Side) -> tuple[float, float] | None:
    """Offset at the start of a side and slope (mm per mm) of the innermost straight edge that shows there.

    Card can only add to the page, so the page's edge is the innermost one that is long enough.
    """
    seen = np.isfinite(side.top)
    if seen.sum() < 0.5 * len(side.top):
        return None
    s, d = side.along[seen], side.top[seen]
    best: tuple[float, float] | None = None
    for level in np.arange(np.min(d), np.max(d) + 0.1, 0.1):
        near = np.abs(d - level) < 2 * CLUSTER_MM
        if near.sum() < LEAST_SHARE * len(side.top):
            continue
        line = _robust_line(s, d, near)
        on = np.abs(d - line[0] - line[1] * s) < CLUSTER_MM
        if on.sum() >= LEAST_SHARE * len(side.top) and _longest_run(on) * STATION_MM >= 6.0:
            best = line
            break
    return best


def _robust_line(s: Array, d: Array, start: NDArray[np.bool_]) -> tuple[float, float]:
    """Straight line through the places near a start set, refitted with Tukey's biweight."""
    weight = start.astype(np.float64)
    c0, c1 = 0.0, 0.0
    for _ in range(12):
        basis = np.column_stack([np.ones_like(s), s])
        normal = basis.T @ (weight[:, None] * basis)
        c0, c1 = (float(v) for v in np.linalg.solve(normal + 1e-9 * np.eye(2), basis.T @ (weight * d)))
        u = (d - c0 - c1 * s) / (2 * CLUSTER_MM)
        weight = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
        if weight.sum() < 3:
            break
    return c0, c1


def _longest_run(on: NDArray[np.bool_]) -> int:
    best = run = 0
    for flag in on:
        run = run + 1 if flag else 0
        best = max(best, run)
    return best


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return runs of True as (first, last) index."""
    padded = np.concatenate([[False], flags, [False]]).astype(np.int8)
    change = np.flatnonzero(np.diff(padded))
    return [(int(a), int(b) - 1) for a, b in zip(change[::2], change[1::2], strict=True)]
