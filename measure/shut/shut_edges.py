"""The four sides of a shut dummy seen from above: where its silhouette lies, and what of it is the page.

The silhouette is where the grey value passes half way between field and card: for a blurred step in linear
light that is the edge's own place.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.rectify import resample
from measure.edges.silhouette import runs
from measure.shut.shut_scene import ShutScene


@dataclass(frozen=True, slots=True, kw_only=True)
class SideNumbers:
    """Tuned numbers, found on path-traced photographs of shut dummies."""

    station_mm: float = 0.5
    """Silhouettes are taken every so many mm along a side, ..."""
    step_mm: float = 0.05
    """... sampled across it so finely, ..."""
    inside_mm: float = 6.0
    """... from so far inside the rough rectangle ..."""
    outside_mm: float = 40.0
    """... to so far outside: card sticks out less, or it does not lie within the ring."""
    ring_mm: float = 1.0
    """So near to the ring of squares nothing is read."""
    corner_mm: float = 1.5
    """Stretches at the corners that are not used."""
    least_seen: float = 0.5
    """Share of a side at which a silhouette must be seen at all."""
    least_share: float = 0.12
    """Share of a side that must show the page itself ..."""
    least_run_mm: float = 6.0
    """... and in one stretch so much of it."""
    cluster_mm: float = 0.35
    """Places within this of a straight edge belong to it."""
    level_mm: float = 0.1
    """Edges are tried at levels so far apart, from the innermost outwards."""


TUNED = SideNumbers()


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


def side_of(scene: ShutScene, k: int) -> Side:
    """Silhouettes across one side of the box (k: 0 tail, 1 fore edge, 2 head, 3 spine)."""
    edge = ("tail", "fore edge", "head", "spine")[k]
    box = scene.box_mm
    a, b = box[k], box[(k + 1) % 4]
    if edge in ("head", "spine"):
        a, b = b, a  # from the spine outwards, from the tail upwards
    way = (b - a) / np.hypot(*(b - a))
    out = np.array([way[1], -way[0]])
    if float(out @ ((a + b) / 2 - box.mean(axis=0))) < 0:
        out = -out
    length = float(np.hypot(*(b - a)))
    along = np.arange(TUNED.corner_mm, length - TUNED.corner_mm, TUNED.station_mm)
    across = np.arange(-TUNED.inside_mm, TUNED.outside_mm, TUNED.step_mm)
    xy = a + along[:, None, None] * way + across[None, :, None] * out
    left, bottom, right, top = scene.plane.solved.sighting.sheet.window
    ring = TUNED.ring_mm
    inside = (xy[..., 0] > left + ring) & (xy[..., 0] < right - ring)
    inside &= (xy[..., 1] > bottom + ring) & (xy[..., 1] < top - ring)
    places: list[Array] = []
    for z in (scene.plane.top_mm, scene.plane.card_mm):
        profile = resample(scene.grey, scene.view, z, xy).astype(np.float64)
        profile = np.where(inside, profile, scene.field)
        found = [scene.edges.silhouette(row, across, scene.field, scene.page) for row in profile]
        places.append(np.array(found))
    return Side(edge=edge, a=a, b=b, out=out, along=along, top=places[0], card=places[1])


def way_of(side: Side) -> Array:
    """Return the unit vector (2,) along a side."""
    out: Array = (side.b - side.a) / np.hypot(*(side.b - side.a))
    return out


def page_line(side: Side) -> tuple[float, float] | None:
    """Offset at the start of a side and slope (mm per mm) of the innermost straight edge that shows there.

    Card can only add to the page, so the page's edge is the innermost one that is long enough.
    """
    seen = np.isfinite(side.top)
    if seen.sum() < TUNED.least_seen * len(side.top):
        return None
    s, d = side.along[seen], side.top[seen]
    best: tuple[float, float] | None = None
    for level in np.arange(np.min(d), np.max(d) + TUNED.level_mm, TUNED.level_mm):
        near = np.abs(d - level) < 2 * TUNED.cluster_mm
        if near.sum() < TUNED.least_share * len(side.top):
            continue
        line = _robust_line(s, d, near)
        on = np.abs(d - line[0] - line[1] * s) < TUNED.cluster_mm
        if (
            on.sum() >= TUNED.least_share * len(side.top)
            and _longest_run(on) * TUNED.station_mm >= TUNED.least_run_mm
        ):
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
        u = (d - c0 - c1 * s) / (2 * TUNED.cluster_mm)
        weight = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
        if weight.sum() < 3:
            break
    return c0, c1


def _longest_run(on: NDArray[np.bool_]) -> int:
    return max((last - first + 1 for first, last in runs(on)), default=0)
