"""Capability: how the spread of a length compares with its tolerance (ISO 22514-2).

Cp and Cpk use the short-term spread (what the line could do if nothing drifted), Pp and Ppk the spread of the
whole lot (what it did). Each has a confidence interval: for Cp and Pp from the chi-square distribution of the
variance, for Cpk and Ppk by the normal approximation of Bissell (Applied Statistics 39, 1990).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """A capability index with its confidence interval; nan where it cannot be had."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """Indices for one spread.

    Attributes
    ----------
    ratio : Cp or Pp, (upper - lower limit) / 6 sigma.
    least : Cpk or Ppk, the smaller of `upper` and `lower`.
    upper, lower : distance of the mean to each limit, in three sigma.
    about_target : Cpm, about the target instead of the mean.
    """

    ratio: Index
    least: Index
    upper: float
    lower: float
    about_target: float


def capability(
    mean: float,
    sigma: float,
    n: int,
    low: float,
    high: float,
    *,
    target: float | None = None,
    freedom: float | None = None,
    confidence: float = 0.95,
    common: float = 0.0,
) -> Capability:
    """Return the indices of a normal process.

    Parameters
    ----------
    mean, sigma : of the length (or its deviation). n : number of values they come from.
    low, high : limits; one of them may be infinite. target : default the middle of the limits.
    freedom : degrees of freedom of sigma, default n - 1.
    confidence : of the intervals, two-sided.
    common : standard uncertainty of the mean beside the scatter, shared by all values; it widens what rests
        on the mean's place (Cpk, Ppk) and leaves what does not (Cp, Pp).
    """
    nu = n - 1 if freedom is None else freedom
    tail = (1 - confidence) / 2
    width = high - low
    upper, lower = (high - mean) / (3 * sigma), (mean - low) / (3 * sigma)
    ratio = Index(value=math.nan, low=math.nan, high=math.nan)
    about = math.nan
    if math.isfinite(width):
        p = width / (6 * sigma)
        factors = [math.sqrt(float(stats.chi2.ppf(q, nu)) / nu) for q in (tail, 1 - tail)]
        ratio = Index(value=p, low=p * factors[0], high=p * factors[1])
        aim = (low + high) / 2 if target is None else target
        about = p / math.sqrt(1 + ((mean - aim) / sigma) ** 2)
    k = min(upper, lower)
    half = float(stats.norm.ppf(1 - tail)) * math.sqrt(
        1 / (9 * n) + k**2 / (2 * nu) + (common / (3 * sigma)) ** 2
    )
    return Capability(
        ratio=ratio,
        least=Index(value=k, low=k - half, high=k + half),
        upper=upper,
        lower=lower,
        about_target=about,
    )


def moving_range_freedom(n: int) -> float:
    """Return the degrees of freedom of a sigma from moving ranges of n values.

    From the variance of the mean moving range of independent normal values (Cryer and Ryan, Journal of
    Quality Technology 22, 1990): efficiency about 0.61 for long series.
    """
    if n < 3:
        return 1.0
    # var(mean MR) / sigma^2 = [(n-1) v0 + 2 (n-2) v1] / (n-1)^2: v0 the variance of |difference|, v1 the
    # covariance of neighbours, closed form for correlation -1/2 of the two differences.
    v0 = 2 - 4 / math.pi
    rho = -0.5
    v1 = 2 * (2 / math.pi) * (math.sqrt(1 - rho**2) + rho * math.asin(rho)) - 4 / math.pi
    relative = ((n - 1) * v0 + 2 * (n - 2) * v1) / (n - 1) ** 2 / (4 / math.pi)
    return 1 / (2 * relative)


@dataclass(frozen=True, slots=True, kw_only=True)
class Normality:
    """Anderson-Darling test: the statistic (adjusted for small samples) and the probability of chance."""

    statistic: float
    chance: float


def normality(values: Sequence[float] | Array) -> Normality:
    """Test whether values could come from a normal distribution, mean and spread unknown.

    Anderson and Darling's A2 with Stephens' small-sample factor; probabilities by D'Agostino and Stephens
    (Goodness-of-Fit Techniques, 1986, table 4.9). Nan for fewer than eight values or no spread.
    """
    x = np.sort(np.asarray(values, dtype=float))
    n = len(x)
    s = float(np.std(x, ddof=1)) if n > 1 else 0.0
    if n < 8 or not s > 0:
        return Normality(statistic=math.nan, chance=math.nan)
    z = (x - x.mean()) / s
    i = np.arange(1, n + 1)
    log_sum = stats.norm.logcdf(z) + stats.norm.logsf(z[::-1])
    a2 = float(-n - np.sum((2 * i - 1) * log_sum) / n)
    a = a2 * (1 + 0.75 / n + 2.25 / n**2)
    if a < 0.2:
        p = 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a**2)
    elif a < 0.34:
        p = 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a**2)
    elif a < 0.6:
        p = math.exp(0.9177 - 4.279 * a - 1.38 * a**2)
    else:
        p = math.exp(1.2937 - 5.709 * a + 0.0186 * a**2)
    return Normality(statistic=a, chance=min(max(p, 0.0), 1.0))


def share_outside(mean: float, sigma: float, low: float, high: float) -> float:
    """Return the share of a normal distribution outside the limits."""
    if sigma == 0:
        return 0.0 if low <= mean <= high else 1.0
    return float(stats.norm.cdf((low - mean) / sigma) + stats.norm.sf((high - mean) / sigma))


def share_range(mean: float, sigma: float, low: float, high: float, doubt: float) -> tuple[float, float]:
    """Return the smallest and the largest share outside the limits, the mean moved by up to `doubt`."""
    ends = [mean - doubt, mean + doubt]
    middle = (low + high) / 2
    if math.isfinite(middle) and ends[0] < middle < ends[1]:
        ends.append(middle)
    shares = [share_outside(m, sigma, low, high) for m in ends]
    return min(shares), max(shares)


def share_interval(count: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of a share seen `count` times in n (Clopper, Pearson, Biometrika 1934)."""
    tail = (1 - confidence) / 2
    low = 0.0 if count == 0 else float(stats.beta.ppf(tail, count, n - count + 1))
    high = 1.0 if count == n else float(stats.beta.ppf(1 - tail, count + 1, n - count))
    return low, high


def true_spread(seen: float, measuring: float) -> float:
    """Return the spread of the parts themselves, sqrt(seen^2 - measuring^2); nan if nothing is left.

    A sum of independent parts has the sum of their variances; where the measuring spread is as large as what
    was seen, nothing can be said about the parts but that they vary less than the measuring.
    """
    rest = seen**2 - measuring**2
    return math.sqrt(rest) if rest > 0 else math.nan
