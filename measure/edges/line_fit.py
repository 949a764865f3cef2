"""From a rough line to the near end's middle line: offset of both ends and the bow, with covariance."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from measure.edges.candidate_lines import crest_shift, line_scores
from measure.edges.edge_evidence import EdgeEvidence, Template, softened
from measure.edges.stations import stations_for
from measure.geometry import Curve


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFitNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies (tests/benchmarks)."""

    reach_mm: float = 0.7
    """The true line is within this of the rough one at both ends, ..."""
    bowed_reach_mm: float = 2.6
    """... of a bowed panel, whose rough line may be a tangent, within this."""
    max_bow_mm: float = 2.4
    """Largest sagitta considered, ..."""
    max_bow_share: float = 0.04
    """... and never more than that share of the length: a bow needs length to show."""
    clearly_bowed_mm: float = 0.4
    """A smaller sagitta found far off is no bow: another line near by."""
    straight_mm: float = 0.15
    """A sagitta that hand and glue always leave."""
    clean_mm: float = 0.04
    """Scatter of stations about a panel that is seen well, ..."""
    clean_share: float = 0.6
    """... which more than that share of its stations show."""
    bow_gain: float = 1.15
    """A bow must explain the stations so much better than a straight line, ..."""
    stacked_bow_gain: float = 1.1
    """... and where cards are stacked be clean and bring so much more evidence."""
    bow_step_mm: float = 0.15
    """Sagittas tried on the grid, apart."""
    bow_sd_mm: float = 0.5
    """Standard deviation of a bow: it must earn its place on the grid."""
    grid_px: float = 0.5
    """Offsets are tried in steps of that many pixels, ..."""
    grid_mm: tuple[float, float] = (0.03, 0.1)
    """... but within these."""
    gate_mm: float = 0.3
    """Peaks of single stations farther from the curve are something else."""
    min_station_score: float = 3.0
    """Log-likelihood units: a station with less is not used."""
    free_log: float = 0.48
    """Natural logarithm of a wrong tone that is free under a plane: layers lie in one another's
    shadow."""
    stiff: float = 3.0
    """Pull of a straight panel's bow toward none: a few stations on a tab must not talk it into one,
    ..."""
    limp: float = 0.0003
    """... and that of a bowed one's (shares of the stations' weight, per mm^2)."""
    fewest: int = 5
    """Fewer stations fit nothing."""
    least_scatter_mm: float = 0.006
    """No fit is believed to scatter less when stations are weighed."""


TUNED = LineFitNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """A fitted near end.

    Attributes
    ----------
    curve : middle line; its d0, d1 are 0, its a and b lie on it, its bow is the sagitta.
    cov : (3, 3) covariance of the offsets of a, b and of the bow, mm^2, from edge noise alone.
    rms_mm : scatter of the stations used.
    n_used, n_stations : stations used and tried.
    mean_score : mean evidence along the final curve (log-likelihood units per station).
    """

    curve: Curve
    cov: Array
    rms_mm: float
    n_used: int
    n_stations: int
    mean_score: float


def refine(
    edges: EdgeEvidence,
    rough: Curve,
    template: Template,
    *,
    trim_mm: tuple[float, float],
    max_bow_mm: float = TUNED.max_bow_mm,
    reach_mm: float = TUNED.reach_mm,
    stack_up: float = 0.0,
) -> Fit:
    """Fit the middle line of a near end, starting from a rough line.

    First the best line by summed evidence on a grid (no single station can mislead it), then the peak of
    every station near it, fitted robustly; twice. A panel is taken to be straight unless that explains the
    stations badly and a bow explains them well.

    Parameters
    ----------
    edges : how near ends are seen in this photo.
    rough : where to start; the true line is within `reach_mm` of it at both ends.
    trim_mm : stretches at its two ends that are not used.
    max_bow_mm : largest sagitta considered.
    template : the card looked for.
    stack_up : see `measure.edges.edge_evidence.EdgeEvidence.scan`.
    """
    straight = _refine_once(edges, rough, template, trim_mm, TUNED.straight_mm, reach_mm, stack_up)
    if max_bow_mm <= TUNED.straight_mm or (
        straight.rms_mm < TUNED.clean_mm and straight.n_used > TUNED.clean_share * straight.n_stations
    ):
        return straight
    # The rough line of a bowed panel may be a tangent: its ends are then looked for farther off.
    bowed = None
    if not stack_up:
        bowed = _refine_once(edges, rough, template, trim_mm, max_bow_mm, TUNED.bowed_reach_mm, stack_up)
    if bowed is None or abs(bowed.curve.bow) < TUNED.clearly_bowed_mm:  # not a bow: another line near by
        bowed = _refine_once(edges, rough, template, trim_mm, max_bow_mm, reach_mm, stack_up)
    if not np.isfinite(straight.rms_mm):
        return bowed
    if stack_up:
        # A bow may only seem so where the line slips from layer to layer: it must be clean.
        better = (
            bowed.rms_mm < TUNED.clean_mm and bowed.mean_score > TUNED.stacked_bow_gain * straight.mean_score
        )
    else:
        better = _merit(bowed) > TUNED.bow_gain * _merit(straight)
    return bowed if better else straight


def _merit(fit: Fit) -> float:
    """Evidence per station, discounted where the stations scatter about the curve."""
    return fit.mean_score * min(1.0, TUNED.clean_mm / fit.rms_mm) if np.isfinite(fit.rms_mm) else 0.0


def _refine_once(
    edges: EdgeEvidence,
    rough: Curve,
    template: Template,
    trim_mm: tuple[float, float],
    max_bow_mm: float,
    reach_mm: float,
    stack_up: float,
) -> Fit:
    curve = rough.straightened()
    plane = edges.plane
    scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
    step = float(np.clip(TUNED.grid_px / scale, *TUNED.grid_mm))
    curve = _grid(edges, curve, template, trim_mm, step, max_bow_mm, reach_mm, stack_up)
    stiffness = TUNED.stiff if max_bow_mm <= TUNED.straight_mm else TUNED.limp
    fit = _peaks(edges, curve, template, trim_mm, step, stack_up, stiffness)
    return _peaks(edges, fit.curve, template, trim_mm, step, stack_up, stiffness)


def _grid(
    edges: EdgeEvidence,
    curve: Curve,
    template: Template,
    trim_mm: tuple[float, float],
    step: float,
    max_bow: float,
    reach: float,
    stack_up: float,
) -> Curve:
    s = stations_for(curve, *trim_mm)
    limit = min(max_bow, TUNED.max_bow_share * curve.length)
    evidence = edges.scan(
        curve, s, reach_mm=reach + limit + 0.2, step_mm=step, template=template, stack_up=stack_up
    )
    score = (
        softened(evidence.outer)
        + 0.5 * softened(evidence.inner)
        - edges.off_tone(evidence, template.tone, TUNED.free_log if stack_up else 0.0)
    )
    best, best_score = curve, -np.inf
    h, first = step, evidence.offsets_mm[0]
    bows = np.arange(-limit, limit + TUNED.bow_step_mm / 2, TUNED.bow_step_mm)
    bows = bows - bows[np.argmin(np.abs(bows))]
    for bow in bows:
        shift = 4 * bow * s * (1 - s)
        cols = np.rint((shift[:, None] + np.arange(-reach - 0.1, reach + 0.1 + h, h) - first) / h)
        cols = np.clip(cols.astype(int), 0, score.shape[1] - 1)
        rows = np.take_along_axis(score, cols, axis=1)
        offsets = np.arange(cols.shape[1]) * h - reach - 0.1
        n = int(reach / h)
        sums = line_scores(rows, offsets, s, n * h, reach)
        k = int(np.argmax(sums))
        # A bow must earn its place: a straight line that explains as much is believed.
        value = float(sums.flat[k]) - 0.5 * (bow / TUNED.bow_sd_mm) ** 2
        if value > best_score:
            i, j = np.unravel_index(k, sums.shape)
            d0, d1 = (float(i) - n) * h, (float(j) - n) * h
            best, best_score = replace(curve, d0=d0, d1=d1, bow=float(bow)), value
    return best.straightened()


def _peaks(
    edges: EdgeEvidence,
    curve: Curve,
    template: Template,
    trim_mm: tuple[float, float],
    step: float,
    stack_up: float,
    stiffness: float,
) -> Fit:
    s = stations_for(curve, *trim_mm)
    evidence = edges.scan(
        curve, s, reach_mm=TUNED.gate_mm + 0.1, step_mm=step, template=template, stack_up=stack_up
    )
    # Uncapped likelihoods have the sharper peak; the cap is for adding up, not for locating.
    score = (
        evidence.outer
        + 0.5 * evidence.inner
        - edges.off_tone(evidence, template.tone, TUNED.free_log if stack_up else 0.0)
    )
    inside = np.abs(evidence.offsets_mm) <= TUNED.gate_mm
    cols = np.flatnonzero(inside)
    k = cols[np.argmax(score[:, cols], axis=1)]
    rows = np.arange(len(s))
    height = score[rows, k]
    offset = evidence.offsets_mm[k] + step * crest_shift(score[rows, k - 1], height, score[rows, k + 1])
    edge = (k == cols[0]) | (k == cols[-1])
    usable = (height > TUNED.min_station_score) & ~edge
    basis = np.column_stack([1 - s, s, 4 * s * (1 - s)])
    coef, cov, rms, used = _robust(
        basis, offset, np.minimum(height, template.cap), usable, curve.bow, stiffness
    )
    moved = replace(curve, d0=coef[0], d1=coef[1], bow=curve.bow + coef[2])
    mean = float(np.mean(np.minimum(height, template.cap) * (usable & used)))
    return Fit(
        curve=moved.straightened(),
        cov=cov,
        rms_mm=rms,
        n_used=int(used.sum()),
        n_stations=len(s),
        mean_score=mean,
    )


def _robust(
    basis: Array,
    y: Array,
    weight: Array,
    usable: NDArray[np.bool_],
    bow_mm: float,
    stiffness: float,
) -> tuple[Array, Array, float, NDArray[np.bool_]]:
    """Weighted least squares with Tukey's biweight, and a covariance that respects correlated stations."""
    used = usable.copy()
    if used.sum() < TUNED.fewest:
        return np.zeros(3), np.full((3, 3), np.nan), float("nan"), used
    w = weight * used
    coef: Array = np.zeros(3)
    # The whole bow (what the curve has already and what is added) is drawn toward none.
    ridge = np.diag([1e-9, 1e-9, stiffness]) * float(w.sum())
    pull = np.array([0.0, 0.0, -stiffness * float(w.sum()) * bow_mm])
    scatter = 0.1
    for _ in range(8):
        normal = basis.T @ (w[:, None] * basis) + ridge
        coef = np.asarray(np.linalg.solve(normal, basis.T @ (w * y) + pull), dtype=np.float64)
        res = y - basis @ coef
        scatter = max(1.4826 * float(np.median(np.abs(res[used]))), TUNED.least_scatter_mm)
        u = res / (4.685 * scatter)
        w = weight * used * np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
    kept = used & (w > 0.0)
    res = y - basis @ coef
    dof = max(int(kept.sum()) - 3, 1)
    rms = float(np.sqrt(np.sum(res[kept] ** 2) / dof))
    inside = res[kept] - res[kept].mean()
    var = float(inside @ inside)
    rho = float(np.clip((inside[1:] @ inside[:-1]) / var, 0.0, 0.9)) if var > 0 else 0.0
    inv = np.linalg.inv(basis.T @ (w[:, None] * basis) + ridge)
    spread = inv @ (basis.T @ ((w**2)[:, None] * basis)) @ inv
    cov = spread * rms**2 * (1 + rho) / (1 - rho)
    return coef, cov, rms, kept
