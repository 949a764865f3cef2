"""From a rough line to an inked near end's middle line: straight or bowed, with covariance."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from measure.edges.candidate_lines import line_scores
from measure.edges.dark_line import (
    DarkLine,
    LineEvidence,
    columns,
    dark_line_evidence,
    least_squares,
    windows_of,
)
from measure.edges.line_fit import Fit
from measure.edges.stations import STATION_MM, outer_sign, stations_for
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane, strip_along

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class InkFitNumbers:
    """Numbers of the fit; found on path-traced photographs of inked dummies."""

    edge_weight: float = 0.6
    """What a face's step alone counts against a line seen from both sides, when lines are looked for."""
    cap: float = 40.0
    """No station counts more than this (log-likelihood units)."""
    grid_mm: float = 0.05
    """Step of the grid on which the line is looked for."""
    fine_mm: float = 0.03
    """Step at which stations are read for the fit; places between are interpolated."""
    bow_step_mm: float = 0.15
    max_bow_mm: float = 2.4
    """Sagitta beyond which a panel is not believed to be what it is taken for."""
    bow_share: float = 0.05
    """... nor one of more than this share of its length."""
    bow_cost: float = 2.0
    """Log-likelihood units that a sagitta of 0.5 mm costs."""
    gate_mm: float = 0.3
    """A station's line farther from the curve than this is something else."""
    least: float = 4.0
    """Evidence of a station that is used."""
    stiffness: float = 1e-4
    """How firmly a bow is drawn toward none: nearly free, for the ink tells."""
    least_scatter_mm: float = 0.006
    """Scatter that stations always have; keeps the robust weights from throwing good ones out."""
    least_stations: int = 6
    firm_stations: int = 6
    firm_span: float = 0.35
    """So many stations that see the line from both sides, over that share of its length, lead the fit ..."""
    firm_gate_mm: float = 0.08
    """... and those that see the face's step only must agree with them so well."""
    firm_stiffness: float = 1e-3
    misfit_floor: float = 1e-5
    """Mean squared grey value: below it a profile is explained as well as can be."""


TUNED = InkFitNumbers()


def look(
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    line: DarkLine,
    reach_mm: float,
    step_mm: float,
    smear_mm: float | None = None,
) -> LineEvidence:
    """Evidence of a dark line along a curve, for offsets up to `reach_mm` from it."""
    n = int(np.ceil((reach_mm + line.half_mm) / step_mm)) + 1
    offsets = np.linspace(-n * step_mm, n * step_mm, 2 * n + 1)
    if smear_mm is None:
        smear_mm = STATION_MM if len(stations) < 2 else float(stations[1] - stations[0]) * curve.length
    strip = strip_along(plane, curve, stations, offsets, smear_mm, 3)
    scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
    return dark_line_evidence(strip.astype(np.float64), offsets, line, outer_sign(plane, curve), scale)


def line_score(seen: LineEvidence, cap: float = TUNED.cap) -> Array:
    """Score (S, K) for looking for lines: a dip in full, a lone step in part, neither more than the cap."""
    out: Array = np.minimum(np.maximum(seen.dip, TUNED.edge_weight * seen.edge), cap)
    return out


def best_curve(
    plane: MeasuringPlane, rough: Curve, stations: Array, line: DarkLine, reach_mm: float
) -> Curve:
    """Return the line or parabola with the most evidence, its ends within the reach of the rough one's."""
    h = TUNED.grid_mm
    limit = min(TUNED.max_bow_mm, TUNED.bow_share * rough.length)
    n_bow = int(limit / TUNED.bow_step_mm)
    bows = np.arange(-n_bow, n_bow + 1) * TUNED.bow_step_mm
    seen = look(plane, rough, stations, line, reach_mm + limit + 2 * h, h)
    score = line_score(seen)
    n = int(round(reach_mm / h))
    grid = np.linspace(-n * h, n * h, 2 * n + 1)
    best, best_score = rough, -np.inf
    for bow in bows:
        shift = 4 * bow * stations * (1 - stations)
        cols = np.rint((shift[:, None] + grid - seen.offsets_mm[0]) / h).astype(int)
        rows = np.take_along_axis(score, np.clip(cols, 0, score.shape[1] - 1), axis=1)
        sums = line_scores(rows, grid, stations, reach_mm, reach_mm)
        value = float(sums.max()) - TUNED.bow_cost * (bow / 0.5) ** 2
        if value > best_score:
            i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
            moved = replace(rough, d0=(int(i) - n) * h, d1=(int(j) - n) * h, bow=rough.bow + float(bow))
            best, best_score = moved.straightened(), value
    return best


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Places:
    """Where each station (S,) sees the line: offset from the curve, weight (0: not seen), and how.

    `two_sided` tells the stations that see it from both sides from those that see the face's step only.
    """

    offset_mm: Array
    weight: Array
    two_sided: Flags


def places_along(
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    line: DarkLine,
    gate_mm: float = TUNED.gate_mm,
    least: float = TUNED.least,
) -> Places:
    """Find the line at every station, near the curve, to a fraction of a step; `least` evidence is needed."""
    seen = look(plane, curve, stations, line, gate_mm + 0.1, TUNED.fine_mm)
    either, inside = seen.either, np.flatnonzero(np.abs(seen.offsets_mm) <= gate_mm)
    rows = np.arange(len(stations))
    k = inside[np.argmax(either[:, inside], axis=1)]
    offset = crest(seen.misfit, seen.offsets_mm, k)
    good = (either[rows, k] > least) & (k > inside[0]) & (k < inside[-1])
    two_sided = seen.dip[rows, k] > least
    weight = np.minimum(either[rows, k], TUNED.cap) * np.where(two_sided, 1.0, 0.5)
    return Places(offset_mm=offset, weight=np.where(good, weight, 0.0), two_sided=two_sided & good)


def crest(misfit: Array, offsets_mm: Array, k: Array, n_walk: int = 3) -> Array:
    """Offsets (S,) of least misfit (S, K) near columns k (S,): crests of parabolas between the samples."""
    rows = np.arange(len(k))
    last = misfit.shape[1] - 2
    for _ in range(n_walk):
        for d in (-1, 1):
            other = np.clip(k + d, 1, last)
            k = np.where(misfit[rows, other] < misfit[rows, k], other, k)
    k = np.clip(k, 1, last)
    y0, y1, y2 = (misfit[rows, k + d] for d in (-1, 0, 1))
    bend = y0 - 2 * y1 + y2
    move = np.where(bend > 0, 0.5 * (y0 - y2) / np.where(bend > 0, bend, 1.0), 0.0)
    out: Array = offsets_mm[k] + (offsets_mm[1] - offsets_mm[0]) * np.clip(move, -1, 1)
    return out


def robust_parabola(
    stations: Array, offset_mm: Array, weight: Array, bow_mm: float, stiffness: float = TUNED.stiffness
) -> tuple[Array, Array, float, Flags]:
    """Fit offsets of both ends and of the bow: weighted least squares with Tukey's biweight.

    Returns
    -------
    (d0, d1, bow), their covariance (3, 3) with neighbouring stations taken as correlated as their remainders
    are, the scatter of the stations kept, and which (S,) were kept.
    """
    s = stations
    basis = np.column_stack([1 - s, s, 4 * s * (1 - s)])
    total = float(weight.sum())
    pull = np.diag([1e-9, 1e-9, stiffness]) * total
    toward = np.array([0.0, 0.0, -stiffness * total * bow_mm])
    w, coef = weight, np.zeros(3)
    for _ in range(12):
        normal = basis.T @ (w[:, None] * basis) + pull
        coef = np.linalg.solve(normal, basis.T @ (w * offset_mm) + toward)
        rest = offset_mm - basis @ coef
        scatter = max(1.4826 * float(np.median(np.abs(rest[weight > 0]))), TUNED.least_scatter_mm)
        u = rest / (4.685 * scatter)
        w = weight * np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
    kept = w > 0
    rest = (offset_mm - basis @ coef)[kept]
    rms = float(np.sqrt(np.sum(rest**2) / max(len(rest) - 3, 1)))
    var = float(rest @ rest)
    rho = float(np.clip(rest[1:] @ rest[:-1] / var, 0.0, 0.9)) if var > 0 else 0.0
    inv = np.linalg.inv(basis.T @ (w[:, None] * basis) + pull)
    cov = inv @ (basis.T @ ((w**2)[:, None] * basis)) @ inv * rms**2 * (1 + rho) / (1 - rho)
    return coef, cov, rms, kept


def _trusted(stations: Array, places: Places, bow_mm: float) -> Array:
    """Weights (S,) of the stations to fit: those that see ink from both sides, and what agrees with them.

    Where the pen skipped, a pale cut edge before the dark looks like more of the face: the step seen from one
    side only lies a whole card farther out there.
    """
    firm = np.where(places.two_sided, places.weight, 0.0)
    seen = stations[firm > 0]
    if len(seen) < TUNED.firm_stations or float(np.ptp(seen)) < TUNED.firm_span:
        return places.weight
    coef, _, _, kept = robust_parabola(stations, places.offset_mm, firm, bow_mm, TUNED.firm_stiffness)
    basis = np.column_stack([1 - stations, stations, 4 * stations * (1 - stations)])
    off = np.abs(places.offset_mm - basis @ coef)
    return np.where(kept | (~places.two_sided & (off < TUNED.firm_gate_mm)), places.weight, 0.0)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InkFit(Fit):
    """A fitted inked near end.

    Attributes
    ----------
    one_sided : share of its stations that saw the face's step only.
    n_firm, firm_span : how many saw the ink from both sides, and over what share of its length.
    """

    one_sided: float
    n_firm: int
    firm_span: float


def fit_near_end(
    plane: MeasuringPlane, rough: Curve, line: DarkLine, trim_mm: tuple[float, float], reach_mm: float = 0.7
) -> InkFit | None:
    """Fit an inked near end near a rough line; None if hardly a station sees it.

    `trim_mm` is left out at the two ends, where tabs double the card.
    """
    stations = stations_for(rough, *trim_mm)
    curve = best_curve(plane, rough, stations, line, reach_mm)
    found: InkFit | None = None
    for _ in range(2):
        places = places_along(plane, curve, stations, line)
        weight = _trusted(stations, places, curve.bow)
        if np.count_nonzero(weight) < TUNED.least_stations:
            return None
        coef, cov, rms, kept = robust_parabola(stations, places.offset_mm, weight, curve.bow)
        curve = replace(curve, d0=coef[0], d1=coef[1], bow=curve.bow + coef[2]).straightened()
        firm = stations[places.two_sided & kept]
        found = InkFit(
            curve=curve,
            cov=cov,
            rms_mm=rms,
            n_used=int(kept.sum()),
            n_stations=len(stations),
            mean_score=float(np.mean(weight * kept)),
            one_sided=1.0 - len(firm) / max(int(kept.sum()), 1),
            n_firm=len(firm),
            firm_span=float(np.ptp(firm)) if len(firm) else 0.0,
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthNumbers:
    """Numbers of the search for the ink's width and the blur, common to a photo."""

    widths_mm: tuple[float, float, float] = (0.14, 0.6, 0.04)
    """From, to, step."""
    blurs: tuple[float, ...] = (0.85, 1.0, 1.2)
    """Times the blur that the sheet's marks show."""
    every_mm: float = 1.5
    near_mm: float = 0.2
    seen: float = 6.0
    lighter: float = 2.0
    """The darker side is at least so many times the ink's level: the width shows there."""
    least_stations: int = 8
    told_sd_mm: float = 0.05
    """How well the told thickness of card is known, and ..."""
    told_weight: float = 20.0
    """... what it counts, in log-likelihood units per squared standard deviation."""
    weight: float = 8.0
    """Log-likelihood units per station and unit of the misfit's logarithm: half the samples of a window."""
    sd_mm: float = 0.02
    """Standard uncertainty of a width found so."""


WIDTH = WidthNumbers()


def common_width(
    plane: MeasuringPlane, curves: list[tuple[Curve, tuple[float, float]]], line: DarkLine
) -> tuple[DarkLine, float]:
    """Return the line with the width and blur that explain all curves' stations best, and the width's sd.

    `curves` come with what to leave out at their two ends. One card, one camera: one width, one blur. Only
    stations with a background lighter than ink tell them.
    """
    h = TUNED.grid_mm
    first, last, every = WIDTH.widths_mm
    widths = np.arange(first, last, every)
    total = np.zeros((len(widths), len(WIDTH.blurs)))
    n_seen = 0
    for curve, trim in curves:
        s = stations_for(curve, *trim, WIDTH.every_mm)
        n = int(np.ceil((0.6 + line.half_mm) / h)) + 1
        offsets = np.linspace(-n * h, n * h, 2 * n + 1)
        strip = strip_along(plane, curve, s, offsets, STATION_MM, 3).astype(np.float64)
        scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
        seen = dark_line_evidence(strip, offsets, line, outer_sign(plane, curve), scale)
        rows, k = np.arange(len(s)), np.argmax(seen.either, axis=1)
        darker = np.minimum(seen.left, seen.right)[rows, k]
        good = (seen.either[rows, k] > WIDTH.seen) & (darker > WIDTH.lighter * line.level)
        if np.count_nonzero(good) < 3:
            continue
        n_seen += int(np.count_nonzero(good))
        near = np.abs(seen.offsets_mm[None, :] - seen.offsets_mm[k][good][:, None]) < WIDTH.near_mm
        half = int(round(line.half_mm / h))
        x = np.linspace(-half * h, half * h, 2 * half + 1)
        windows = windows_of(strip[good], half)
        for i, width in enumerate(widths):
            for j, times in enumerate(WIDTH.blurs):
                sides, ink = columns(x, float(width), line.blur_mm * times)
                misfit, _ = least_squares(windows - line.level * ink, sides)
                least = np.where(near, misfit, np.inf).min(axis=1)
                total[i, j] += WIDTH.weight * float(np.sum(np.log(least + TUNED.misfit_floor)))
    if n_seen < WIDTH.least_stations:
        return line, WIDTH.told_sd_mm
    total += WIDTH.told_weight * 0.5 * ((widths - line.width_mm) / WIDTH.told_sd_mm)[:, None] ** 2
    i, j = (int(k) for k in np.unravel_index(int(np.argmin(total)), total.shape))
    width = float(widths[i])
    if 0 < i < len(widths) - 1:
        y = total[i - 1 : i + 2, j]
        width += every * 0.5 * float((y[0] - y[2]) / (y[0] - 2 * y[1] + y[2]))
    return replace(line, width_mm=width, blur_mm=line.blur_mm * WIDTH.blurs[j]), WIDTH.sd_mm
