"""Control charts: centre and limits at three standard deviations (ISO 7870-2).

The spread inside limits is the short-term one (successive differences, or within groups), so that a drift
cannot widen the limits it should cross.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from capture.arrays import Array
from compare.lot.charts.chart_constants import constants


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Chart:
    """One chart.

    Attributes
    ----------
    kind : "individuals", "moving range", "means", "ranges", "standard deviations" or "weighted mean".
    values : (k,) plotted values.
    centre : centre line.
    lower, upper : (k,) limits.
    sigma : standard deviation of a plotted value (0 where limits are not symmetric); rules need it.
    """

    kind: str
    values: Array
    centre: float
    lower: Array
    upper: Array
    sigma: float

    @property
    def outside(self) -> tuple[int, ...]:
        """Indices of the values beyond a limit."""
        return tuple(int(i) for i in np.flatnonzero((self.values > self.upper) | (self.values < self.lower)))


def _chart(kind: str, values: Array, centre: float, low: float, high: float, sigma: float) -> Chart:
    k = len(values)
    return Chart(
        kind=kind,
        values=values,
        centre=centre,
        lower=np.full(k, low),
        upper=np.full(k, high),
        sigma=sigma,
    )


def short_term_sigma(values: Sequence[float] | Array) -> float:
    """Return the standard deviation from successive differences: mean moving range / d2 (ISO 7870-2)."""
    x = np.asarray(values, dtype=float)
    if len(x) < 2:
        return float("nan")
    return float(np.mean(np.abs(np.diff(x)))) / constants(2).d2


def individuals(values: Sequence[float] | Array) -> tuple[Chart, Chart]:
    """Return the charts of single values and of their moving ranges.

    Parameters
    ----------
    values : in the order they were made, at least two.

    Returns
    -------
    Chart of the values, chart of the moving ranges (one shorter).
    """
    x = np.asarray(values, dtype=float)
    c = constants(2)
    moving = np.abs(np.diff(x))
    mean_range = float(np.mean(moving))
    sigma = mean_range / c.d2
    centre = float(np.mean(x))
    low, high = c.range_limits
    return (
        _chart("individuals", x, centre, centre - 3 * sigma, centre + 3 * sigma, sigma),
        _chart("moving range", moving, mean_range, low * mean_range, high * mean_range, 0.0),
    )


def groups(values: Array, spread: Literal["range", "sd"] = "range") -> tuple[Chart, Chart]:
    """Return the charts of group means and of the spread within groups (X-bar and R, or X-bar and S).

    Parameters
    ----------
    values : (k, n) k groups of n values each.
    spread : what stands for the spread within a group.
    """
    x = np.asarray(values, dtype=float)
    n = x.shape[1]
    c = constants(n)
    means = x.mean(axis=1)
    centre = float(means.mean())
    if spread == "range":
        within = np.ptp(x, axis=1)
        per_unit, (low, high), kind = c.a2, c.range_limits, "ranges"
    else:
        within = x.std(axis=1, ddof=1)
        per_unit, (low, high), kind = c.a3, c.sd_limits, "standard deviations"
    mean_within = float(within.mean())
    half = per_unit * mean_within
    return (
        _chart("means", means, centre, centre - half, centre + half, half / 3),
        _chart(kind, within, mean_within, low * mean_within, high * mean_within, 0.0),
    )


def within_sigma(values: Array, spread: Literal["range", "sd"] = "range") -> float:
    """Return the standard deviation within groups of equal size, (k, n) values."""
    x = np.asarray(values, dtype=float)
    c = constants(x.shape[1])
    if spread == "range":
        return float(np.ptp(x, axis=1).mean()) / c.d2
    return float(x.std(axis=1, ddof=1).mean()) / c.c4


def weighted_mean(
    values: Sequence[float] | Array, *, target: float, sigma: float, weight: float = 0.2, settled: bool = True
) -> Chart:
    """Return the chart of exponentially weighted means (EWMA), which sees small lasting shifts.

    Parameters
    ----------
    values : in order. target : where it starts and should stay. sigma : of a single value.
    weight : of the newest value, 0 < weight <= 1.
    settled : limits for a long-running chart; False uses the exact, narrower ones of the first values
        (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4).
    """
    x = np.asarray(values, dtype=float)
    out = np.empty_like(x)
    now = target
    for i, value in enumerate(x):
        now = weight * float(value) + (1 - weight) * now
        out[i] = now
    share = np.full(len(x), weight / (2 - weight))
    if not settled:
        share = share * (1 - (1 - weight) ** (2 * np.arange(1, len(x) + 1)))
    half = 3 * sigma * np.sqrt(share)
    return Chart(
        kind="weighted mean",
        values=out,
        centre=target,
        lower=target - half,
        upper=target + half,
        sigma=sigma * float(np.sqrt(weight / (2 - weight))),
    )
