"""Where a plane's inked near end ends: the end of the INK, and of the bright face right above it.

Up to its end a plane shows its bright face above a dark line. Beyond it what lies behind is seen: the sheet,
whose print is known, or whatever is seen farther out. What looks the same with the plane and without it tells
nothing: a dark line runs on into a printed square, a white face into white paper. So three rows along the
edge (ink, face right above it, face higher up) are asked at every place how much likelier they are with the
plane there than without, and the end is where the sum changes sides. Other ends that are nearly as likely
make it doubtful: a pen may skip, or stop short.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.dark_line import DarkLine, least_squares
from measure.edges.print_behind import on_sheet
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
    ink: tuple[float, ...] = (-0.6, -0.5, -0.4)
    """Heights above the edge at which the ink is looked at, in thicknesses of the plane's card, ..."""
    face_mm: tuple[float, ...] = (0.18, 0.26, 0.34)
    """... the face right above it, ..."""
    high_mm: tuple[float, ...] = (0.6, 0.75, 0.9)
    """... and the face where an edge fitted a little aslant is still clear of the ink; mm."""
    dark: float = 0.5
    """Ink is darker than this share of the way from what it usually is to the face."""
    same_tone: float = 0.15
    """The face keeps its tone within this share."""
    far_mm: float = 3.0
    """Beyond the nominal end by more than this the plane is certainly not there."""
    cell_mm: float = 0.25
    """So much along the edge counts once."""
    seen_there: float = 0.9
    """How often a row looks as it should where the plane is: a pen leaves gaps, shadows fall."""
    seen_beyond: float = 0.04
    """How often it looks so by mistake beyond the end, where what lies behind looks otherwise, ..."""
    alike: float = 0.85
    """... and where it looks the same."""
    surely: float = 0.8
    """So much print behind looks like the plane, by its drawing; what it truly looks like is seen from ..."""
    least_bare: int = 10
    """... so many places beyond the plane on."""
    print_step: float = 0.35
    """Of black against white: a smaller step of the print behind explains nothing."""
    rival: float = 6.0
    """An end (log-likelihood units) that is less likely by less than this may be the right one."""
    window_mm: float = 0.9
    beyond_mm: float = 3.0
    """Looked at so far beyond the farthest end."""
    agree_mm: float = 0.3
    sd_mm: float = 0.06
    """Standard uncertainty of an end: side edges cut askew, corners rubbed."""
    stops_short_mm: float = 3.5
    """A pen may stop so far before the end: there the face alone is looked at, ..."""
    least_drop: float = 0.05
    """... and ends where it darkens by this share, not where the print behind does."""
    most_sd_mm: float = 1.2
    """An end known worse is not told."""
    ink_share: float = 0.5
    """Ink is darker than this share of the face above it, or there is none."""
    least: float = 8.0
    """Evidence (log-likelihood units) for a step that is believed."""
    floor: float = 0.006
    share: float = 0.02


TUNED = EndNumbers()
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class InkEnd:
    """An end: mm along the edge from its start, and its standard uncertainty."""

    along_mm: float
    sd_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Row:
    """One row along the edge, at places t (N,).

    Attributes
    ----------
    grey : (N,) grey values. seen : (N,) 1 where it looks as with the plane there, else 0.
    alike : (N,) how likely it looks so without the plane: what lies behind looks the same (1) or not (0).
    printed : (N,) step of the print behind, along the row; full scale 1, 0 where none is known.
    """

    grey: Array
    seen: Array
    alike: Array
    printed: Array

    def tells_at(self, near: Flags, after: Flags) -> bool:
        """Whether a step there is the plane's: the print has none, or looks otherwise than the plane."""
        return bool(np.max(self.printed[near]) < TUNED.print_step or np.mean(self.alike[after]) < 0.5)


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
    rows = _rows(plane, edge, t, plane_mm, max(nominal_mm - TUNED.inside_mm, start + 1.0), nominal_mm)
    places, likelihood = likely_ends(t, rows)
    near = np.abs(places - nominal_mm) <= TUNED.reach_mm
    if not near.any():
        return None
    places, likelihood = places[near], likelihood[near]
    rough = float(places[np.argmax(likelihood)])
    rivals = np.abs(places[likelihood > likelihood.max() - TUNED.rival] - rough)
    doubt = float(np.max(np.where(rivals > TUNED.window_mm, rivals, 0.0)))
    close = np.abs(t - rough) < TUNED.window_mm / 2
    after = (t > rough) & (t < rough + TUNED.window_mm)
    steps = [_step(row.grey, t, rough, line.blur_mm) for row in rows if row.tells_at(close, after)]
    believed = [(at, weight) for at, weight in steps if weight > TUNED.least]
    if not believed:
        return None
    doubt = max(doubt, _farther(rows, t, rough, line.blur_mm))
    at = np.array([at for at, _ in believed])
    weight = np.array([weight for _, weight in believed])
    spread = float(np.ptp(at))
    along = float(at @ weight / weight.sum()) if spread < TUNED.agree_mm else float(at[np.argmax(weight)])
    sd = float(np.hypot(TUNED.sd_mm, max(spread / 2, doubt)))
    return InkEnd(along_mm=along, sd_mm=sd) if sd < TUNED.most_sd_mm else None


def _farther(rows: list[Row], t: Array, rough_mm: float, blur_mm: float) -> float:
    """How far beyond an end a face is seen to end all the same, mm; 0 if it is not: a pen may stop short."""
    out = 0.0
    for row in rows[-2:]:
        for ahead in np.arange(TUNED.window_mm, TUNED.stops_short_mm, TUNED.window_mm / 2):
            at, evidence = _step(row.grey, t, rough_mm + float(ahead), blur_mm)
            before, after = (
                float(np.median(row.grey[(t > at + a) & (t < at + b)]))
                for a, b in ((-0.6, -0.15), (0.15, 0.6))
            )
            printed = float(np.max(row.printed[np.abs(t - at) < TUNED.window_mm / 2]))
            drops = after < (1 - TUNED.least_drop) * before and printed < TUNED.print_step
            if evidence > TUNED.least and drops and at - rough_mm > TUNED.agree_mm:
                out = max(out, at - rough_mm)
    return out


def _rows(
    plane: MeasuringPlane, edge: PlaneEdge, t: Array, plane_mm: float, inside_mm: float, nominal_mm: float
) -> list[Row]:
    """Ink (if the pen came so far), face, and face higher up, along the edge."""
    inside, far = t < inside_mm, t > nominal_mm + TUNED.far_mm
    at = [_places(plane, edge, t, np.array(up)) for up in (np.array(TUNED.ink) * plane_mm, TUNED.face_mm)]
    ink, face = (plane.sample(xy).astype(np.float64).mean(axis=1) for xy in at)
    usual, tone = float(np.median(ink[inside])), float(np.median(face[inside]))
    bare = usual > TUNED.ink_share * tone  # the pen stopped before: then only the face tells the end
    at.append(_places(plane, edge, t, np.array(TUNED.high_mm)))
    high = plane.sample(at[2]).astype(np.float64).mean(axis=1)
    out: list[Row] = []
    for k, grey in enumerate((ink, face, high)):
        dark = k == 0
        if dark and bare:
            continue
        own = tone if k < 2 else float(np.median(high[inside]))
        seen = (
            grey < usual + TUNED.dark * (tone - usual) if dark else np.abs(grey / own - 1) < TUNED.same_tone
        )
        alike = np.full(len(t), float(np.mean(seen[far])) if far.any() else 0.5)
        printed = np.zeros(len(t))
        if plane.behind is not None:
            behind = on_sheet(plane, at[k])
            light = plane.behind.light_at(behind).mean(axis=1)
            alike = 1 - light if dark else light
            bare = far & (alike > TUNED.surely)  # there the print shows how much alike it really looks
            if np.count_nonzero(bare) >= TUNED.least_bare:
                alike = alike * float(np.mean(seen[bare]))
            printed = plane.behind.step_at(behind, edge.curve.tangent).max(axis=1)
        out.append(Row(grey=grey, seen=seen.astype(np.float64), alike=alike, printed=printed))
    return out


def _places(plane: MeasuringPlane, edge: PlaneEdge, t: Array, up_mm: Array) -> Array:
    """Points (N, K, 2) of the plane along the edge at heights above it; faces are followed into depth."""
    curve = edge.curve
    near = curve.points(t / curve.length)
    to_eye = plane.eye_mm[:2] - near
    height = to_eye @ curve.normal
    steep = np.abs(height) > 3.0
    lean = np.where(steep, (to_eye @ curve.tangent) / np.where(steep, height, 1.0), 0.0)
    across = edge.up * up_mm
    into = np.where(up_mm > 0, across, 0.0)
    out: Array = (
        near[:, None, :]
        + across[None, :, None] * curve.normal
        + (into[None, :] * lean[:, None])[:, :, None] * curve.tangent
    )
    return out


def likely_ends(t: Array, rows: list[Row]) -> tuple[Array, Array]:
    """Places (K,) and the log-likelihood that the plane ends there, given how all rows look.

    Up to its end a row looks as it should but for what the pen left out, beyond it by mistake only, or
    because what lies behind looks the same.
    """
    size = max(1, int(round(TUNED.cell_mm / float(t[1] - t[0]))))
    n = len(t) // size

    def of_cells(values: Array) -> Array:
        out: Array = np.mean(values[: n * size].reshape(n, size), axis=1)
        return out

    gain = np.zeros(n)
    for row in rows:
        seen = of_cells(row.seen) > 0.5
        mistaken = TUNED.seen_beyond + (TUNED.alike - TUNED.seen_beyond) * of_cells(row.alike)
        there = np.where(seen, TUNED.seen_there, 1 - TUNED.seen_there)
        gain += np.log(there / np.where(seen, mistaken, 1 - mistaken))
    places = t[0] + np.arange(n + 1) * TUNED.cell_mm
    return places, np.concatenate([[0.0], np.cumsum(gain)])


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
