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
    far_mm: float = 4.0
    """Beyond the nominal end by more than this the plane is certainly not there."""
    same_tone: float = 0.1
    """The face keeps its tone within this share ..."""
    other_tone: float = 0.25
    """... and what is seen beyond differs by more."""
    cell_mm: float = 0.25
    """So much along the edge counts once."""
    skipped: float = 0.1
    """Share of a near end that the pen left out: gaps of some millimetres are seen."""
    mistaken: float = 0.02
    """Share of places beyond the end that look like plane."""
    rival: float = 6.0
    """An end (log-likelihood units) that is less likely by less than this may be the right one."""
    window_mm: float = 0.9
    beyond_mm: float = 3.0
    """Looked at so far beyond the farthest end."""
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
    there = (contrast > TUNED.there * usual) | _face_goes_on(face, inside, t > nominal_mm + TUNED.far_mm)
    places, likelihood = _ends(t, there)
    near = np.abs(places - nominal_mm) <= TUNED.reach_mm
    if not near.any():
        return None
    places, likelihood = places[near], likelihood[near]
    rough = float(places[np.argmax(likelihood)])
    rivals = np.abs(places[likelihood > likelihood.max() - TUNED.rival] - rough)
    doubt = float(np.max(np.where(rivals > TUNED.window_mm, rivals, 0.0)))
    steps = [_step(row, t, rough, line.blur_mm) for row in (ink, face)]
    believed = [(at, weight) for at, weight in steps if weight > TUNED.least]
    if not believed:
        return None
    at = np.array([at for at, _ in believed])
    weight = np.array([weight for _, weight in believed])
    spread = float(np.ptp(at))
    along = float(at @ weight / weight.sum()) if spread < TUNED.agree_mm else float(at[np.argmax(weight)])
    return InkEnd(along_mm=along, sd_mm=float(np.hypot(TUNED.sd_mm, max(spread / 2, doubt))))


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


def _face_goes_on(face: Array, inside: NDArray[np.bool_], far: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where (N,) the face keeps its tone, if what is seen far beyond has another: a pen may skip ink."""
    tone = float(np.median(face[inside]))
    if not far.any() or abs(float(np.median(face[far])) - tone) < TUNED.other_tone * tone:
        return np.zeros(len(face), dtype=bool)
    out: NDArray[np.bool_] = np.abs(face - tone) < TUNED.same_tone * tone
    return out


def _ends(t: Array, there: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Places (K,) and the log-likelihood that the plane ends there, given where it seems to be there.

    Up to its end it is seen but for what the pen left out, beyond it hardly by mistake.
    """
    size = max(1, int(round(TUNED.cell_mm / float(t[1] - t[0]))))
    n = len(t) // size
    seen = np.mean(there[: n * size].reshape(n, size), axis=1) > 0.5
    within = np.where(seen, np.log(1 - TUNED.skipped), np.log(TUNED.skipped))
    beyond = np.where(seen, np.log(TUNED.mistaken), np.log(1 - TUNED.mistaken))
    before = np.concatenate([[0.0], np.cumsum(within)])
    after = float(np.sum(beyond)) - np.concatenate([[0.0], np.cumsum(beyond)])
    places = t[0] + np.arange(n + 1) * TUNED.cell_mm
    return places, before + after


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
