"""The floating plane: its upper edge, how thick its card is, and where the joints under it lie.

From above, a plane's face is seen right down to its inked near end: the step from the bright face to the ink
is there whatever lies below, and it is the plane's UPPER edge. Beyond the outermost leg the plane is alone,
and its ink's width is its card's thickness. The strip under it carries the joints: half a card below the
plane's lower face.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from measure.edges.candidate_lines import line_scores
from measure.edges.dark_line import DarkLine, least_squares
from measure.edges.line_fit import Fit
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.inked.ink_fit import crest, robust_parabola
from measure.inked.upper_edge import upper_edge
from measure.measuring_plane import MeasuringPlane, strip_along


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneNumbers:
    """Numbers of the plane's edge; found on path-traced photographs of inked dummies."""

    cap: float = 20.0
    reach_mm: float = 1.2
    grid_mm: float = 0.05
    fine_mm: float = 0.03
    max_bow_mm: float = 1.2
    bow_step_mm: float = 0.15
    bow_cost: float = 2.0
    bow_sd_mm: float = 0.3
    stiffness: float = 1e-3
    gate_mm: float = 0.3
    least: float = 3.0
    trim_mm: float = 1.0
    thickness_mm: tuple[float, float, float] = (0.16, 0.5, 0.02)
    """Thickness of the plane's card that is tried: from, to, step."""
    lighter: float = 0.08
    """What lies under the plane must be lighter than this to show how thick it is, full scale = 1."""
    misfit: float = 0.03
    """Root mean square, as a share of the face's level, of a width that is believed."""


TUNED = PlaneNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PlaneEdge(Fit):
    """The fitted upper edge of a plane's near end; `up` is +1 if up is to the left of it."""

    up: float


def fit_upper_edge(plane: MeasuringPlane, rough: Curve, up: float, line: DarkLine) -> PlaneEdge | None:
    """Fit the upper edge of a plane's inked near end, near a rough line of its ink; None if not seen."""
    curve = _best(plane, rough, up, line)
    found: PlaneEdge | None = None
    for _ in range(2):
        stations = stations_for(curve, TUNED.trim_mm, TUNED.trim_mm)
        offsets, evidence, misfit = upper_edge(plane, curve, stations, up, line, TUNED.gate_mm, TUNED.fine_mm)
        rows, k = np.arange(len(stations)), np.argmax(evidence, axis=1)
        good = (evidence[rows, k] > TUNED.least) & (k > 1) & (k < len(offsets) - 2)
        at = crest(misfit, offsets, np.clip(k, 1, len(offsets) - 2))
        weight = np.where(good, np.minimum(evidence[rows, k], TUNED.cap), 0.0)
        if np.count_nonzero(weight) < 6:
            return None
        coef, cov, rms, kept = robust_parabola(stations, up * at, weight, curve.bow, TUNED.stiffness)
        curve = replace(curve, d0=coef[0], d1=coef[1], bow=curve.bow + coef[2]).straightened()
        found = PlaneEdge(
            curve=curve,
            cov=cov,
            rms_mm=rms,
            n_used=int(kept.sum()),
            n_stations=len(stations),
            mean_score=float(np.mean(weight * kept)),
            up=up,
        )
    return found


def _best(plane: MeasuringPlane, rough: Curve, up: float, line: DarkLine) -> Curve:
    """Return the line or parabola with the most evidence near the rough one."""
    h, reach = TUNED.grid_mm, TUNED.reach_mm
    stations = stations_for(rough, TUNED.trim_mm, TUNED.trim_mm)
    limit = TUNED.max_bow_mm
    offsets, evidence, _ = upper_edge(plane, rough, stations, up, line, reach + limit, h)
    score = np.minimum(evidence, TUNED.cap)
    n = int(round(reach / h))
    grid = np.linspace(-n * h, n * h, 2 * n + 1)
    best, best_score = rough, -np.inf
    n_bow = int(limit / TUNED.bow_step_mm)
    for bow in np.arange(-n_bow, n_bow + 1) * TUNED.bow_step_mm:
        shift = 4 * bow * stations * (1 - stations)
        cols = np.rint((shift[:, None] + grid - offsets[0]) / h).astype(int)
        rows = np.take_along_axis(score, np.clip(cols, 0, score.shape[1] - 1), axis=1)
        sums = line_scores(rows, grid, stations, reach, reach)
        value = float(sums.max()) - TUNED.bow_cost * (bow / TUNED.bow_sd_mm) ** 2
        if value > best_score:
            i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
            d0, d1 = up * (int(i) - n) * h, up * (int(j) - n) * h
            best = replace(rough, d0=d0, d1=d1, bow=rough.bow + up * float(bow)).straightened()
            best_score = value
    return best


def card_of_plane(
    plane: MeasuringPlane, edge: PlaneEdge, line: DarkLine, stretch_mm: tuple[float, float]
) -> float | None:
    """Thickness of the plane's card, from its ink's width on a stretch where nothing lies under it.

    None where it does not show: too dark below, or not like one card.
    """
    step = 0.02
    offsets = np.linspace(-2.0, 0.5, int(round(2.5 / step)) + 1)
    s = np.arange(stretch_mm[0], stretch_mm[1], 0.25) / edge.curve.length
    if len(s) < 4:
        return None
    strip = strip_along(plane, edge.curve, s, edge.up * offsets, 0.25, 2).astype(np.float64)
    profile = np.median(strip, axis=0)
    face = ndtr(offsets / line.blur_mm)
    best: tuple[float, float, float] | None = None
    for width in np.arange(*TUNED.thickness_mm):
        under = 1 - ndtr((offsets + width) / line.blur_mm)
        basis = np.column_stack([face, face * offsets, under, under * (offsets + width)])
        ink = 1 - face - under
        misfit, coef = least_squares((profile - line.level * ink)[None, :], basis)
        if best is None or misfit[0] < best[0]:
            best = (float(misfit[0]), float(width), float(coef[0, 2]))
    assert best is not None
    misfit_share = np.sqrt(best[0]) / max(float(profile.max()), 1e-6)
    if best[2] < TUNED.lighter or misfit_share > TUNED.misfit:
        return None
    at_rim = best[1] <= TUNED.thickness_mm[0] or best[1] >= TUNED.thickness_mm[1] - 2 * TUNED.thickness_mm[2]
    return None if at_rim else best[1]


def median_of(values: Sequence[float | None]) -> float | None:
    """Median of what is known; None if nothing is."""
    known = [v for v in values if v is not None]
    return float(np.median(known)) if known else None
