"""Where a plane's inked near end ends: the end of the INK, and of the bright face right above it.

Up to its end a plane shows its bright face above a dark line. Before a light background the line's end is
seen, before a dark one the face's, looked at so near the edge, and moved along with the perspective, that a
side edge cut askew does not matter.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.dark_line import DarkLine, least_squares
from measure.inked.plane_edge import PlaneEdge
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class EndNumbers:
    """Numbers of the search for an end; found on path-traced photographs of inked dummies."""

    reach_mm: float = 6.0
    """The end is that near to its nominal place."""
    inside_mm: float = 2.5
    """The plane is certainly still there so far before it, or just beyond its last joint."""
    step_mm: float = 0.05
    face_mm: tuple[float, ...] = (0.18, 0.26, 0.34)
    """Heights above the edge at which the face is looked at."""
    there: float = 0.5
    """The plane goes on while face and ink differ by more than this share of what they did."""
    gap_mm: float = 0.6
    """A shorter break is a speck."""
    window_mm: float = 0.9
    beyond_mm: float = 1.2
    """So far beyond the end nothing of the plane may be seen."""
    agree_mm: float = 0.3
    sd_mm: float = 0.06
    """Standard uncertainty of an end: side edges cut askew, corners rubbed."""
    least: float = 8.0
    """Evidence (log-likelihood units) for a step that is believed."""
    floor: float = 0.006
    share: float = 0.02


TUNED = EndNumbers()


@dataclass(frozen=True, slots=True, kw_only=True)
class InkEnd:
    """An end: mm along the edge from its start, and its standard uncertainty."""

    along_mm: float
    sd_mm: float


def find_ink_end(
    plane: MeasuringPlane,
    edge: PlaneEdge,
    line: DarkLine,
    plane_mm: float,
    nominal_mm: float,
    joint_mm: float,
) -> InkEnd | None:
    """Find where a plane half ends; None if that cannot be told.

    Parameters
    ----------
    plane_mm : thickness of the plane's card. nominal_mm : where it should end, from the edge's start.
    joint_mm : where its last leg stands.
    """
    h = TUNED.step_mm
    start = min(joint_mm + 0.8, nominal_mm - TUNED.inside_mm)
    t = np.arange(start, nominal_mm + TUNED.reach_mm + TUNED.beyond_mm, h)
    ink = _row(plane, edge, t, np.array([-0.6, -0.5, -0.4]) * plane_mm)
    face = _row(plane, edge, t, np.array(TUNED.face_mm))
    inside = t < max(nominal_mm - TUNED.inside_mm, start + 1.0)
    contrast = face - ink
    usual = float(np.median(contrast[inside]))
    if usual <= 0:
        return None
    there = contrast > TUNED.there * usual
    last = _last_of_run(there, int(round(TUNED.gap_mm / h)))
    if last is None or t[last] > nominal_mm + TUNED.reach_mm:
        return None
    rough = float(t[last])
    steps = [_step(row, t, rough, line.blur_mm) for row in (ink, face)]
    believed = [(at, weight) for at, weight in steps if weight > TUNED.least]
    if not believed:
        return None
    places = np.array([at for at, _ in believed])
    weights = np.array([weight for _, weight in believed])
    spread = float(np.ptp(places))
    at = (
        float(places @ weights / weights.sum())
        if spread < TUNED.agree_mm
        else float(places[np.argmax(weights)])
    )
    return InkEnd(along_mm=at, sd_mm=float(np.hypot(TUNED.sd_mm, spread / 2)))


def _row(plane: MeasuringPlane, edge: PlaneEdge, t: Array, up_mm: Array) -> Array:
    """Grey values (N,) along the edge, averaged over heights above it; faces are followed into depth."""
    curve = edge.curve
    near = curve.points(t / curve.length)
    to_eye = plane.eye_mm[:2] - near
    height = to_eye @ curve.normal
    steep = np.abs(height) > 3.0
    lean = np.where(steep, (to_eye @ curve.tangent) / np.where(steep, height, 1.0), 0.0)
    across = edge.up * up_mm
    into = np.where(up_mm > 0, across, 0.0)
    places = (
        near[:, None, :]
        + across[None, :, None] * curve.normal
        + (into[None, :] * lean[:, None])[:, :, None] * curve.tangent
    )
    out: Array = plane.sample(places).astype(np.float64).mean(axis=1)
    return out


def _last_of_run(there: NDArray[np.bool_], gap: int) -> int | None:
    """Index of the last place of the run that begins at the start, breaks shorter than `gap` not counting."""
    seen = np.flatnonzero(there)
    if len(seen) == 0 or seen[0] > gap:
        return None
    breaks = np.flatnonzero(np.diff(seen) > gap)
    return int(seen[breaks[0]] if len(breaks) else seen[-1])


def _step(row: Array, t: Array, rough_mm: float, blur_mm: float) -> tuple[float, float]:
    """Where (mm) a row steps near a rough place, and the evidence for it."""
    h = float(t[1] - t[0])
    half = int(round(TUNED.window_mm / h))
    x = np.linspace(-half * h, half * h, 2 * half + 1)
    if len(row) < len(x):
        return rough_mm, 0.0
    windows = np.lib.stride_tricks.sliding_window_view(row, len(x))
    middle = t[half : len(t) - half]
    near = np.flatnonzero(np.abs(middle - rough_mm) < 0.7)
    if len(near) < 3:
        return rough_mm, 0.0
    after = ndtr(x / max(blur_mm, 0.04))
    misfit, coef = least_squares(windows[near], np.column_stack([1 - after, after, x]))
    flat, _ = least_squares(windows[near], np.column_stack([np.ones_like(x), x]))
    noise = (TUNED.floor + TUNED.share * float(np.max(np.abs(row)))) ** 2
    evidence = 0.5 * len(x) * h / 0.1 * np.log((flat + noise) / (misfit + noise))
    k = int(np.argmax(evidence))
    move = 0.0
    if 0 < k < len(near) - 1:
        y0, y1, y2 = evidence[k - 1 : k + 2]
        bend = y0 - 2 * y1 + y2
        move = 0.5 * float((y0 - y2) / bend) if bend < 0 else 0.0
    return float(middle[near[k]]) + h * float(np.clip(move, -1, 1)), float(evidence[k])
