"""Sampling plans by variables: fewer samples, because each tells how far it is from its limits.

Accept if (limit - mean) / s >= k for each limit. The probability of acceptance of the s-method is a
noncentral t (Lieberman and Resnikoff, JASA 50, 1955), so n and k are solved exactly for two points of the
operating characteristic instead of looked up (ISO 3951-1 tabulates such plans). It assumes a normal
distribution; with two limits each is judged by itself.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class VariablesPlan:
    """Take n samples; accept if the mean keeps k standard deviations from the limit."""

    n: int
    k: float


def chance_of_acceptance(n: int, k: float, share: Array | float) -> Array:
    """Return the probability of acceptance for a nonconforming share (one limit, s unknown)."""
    shift = stats.norm.isf(np.asarray(share, dtype=float)) * math.sqrt(n)
    return np.asarray(stats.nct.sf(k * math.sqrt(n), n - 1, shift), dtype=float)


def factor(n: int, share: float, chance: float) -> float:
    """Return k with which a lot with this nonconforming share is accepted with this probability."""
    shift = float(stats.norm.isf(share)) * math.sqrt(n)
    return float(stats.nct.isf(chance, n - 1, shift)) / math.sqrt(n)


def smallest_plan(good: float, producer: float, bad: float, consumer: float) -> VariablesPlan:
    """Return the smallest plan that keeps both risks, k meeting the producer's exactly.

    Parameters
    ----------
    good, bad : shares; `good` is refused with `producer`, `bad` accepted with at most `consumer`.

    Raises
    ------
    ValueError : they are too close together (more than 5000 samples).
    """

    def kept(n: int) -> bool:
        k = factor(n, good, 1 - producer)
        return float(chance_of_acceptance(n, k, bad)) <= consumer

    low, high = 2, 4
    while not kept(high):
        low, high = high, high * 2
        if high > 5000:
            raise ValueError("good and bad are too close together for a plan")
    while low < high:
        middle = (low + high) // 2
        if kept(middle):
            high = middle
        else:
            low = middle + 1
    return VariablesPlan(n=low, k=factor(low, good, 1 - producer))


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """Quality statistic against each limit and the outcome; nan where a limit is missing."""

    upper: float
    lower: float
    accepted: bool


def judge(values: Array, low: float, high: float, k: float, doubt: float = 0.0) -> Quality:
    """Judge a sample of values by the factor k; `doubt` takes the mean nearer to each limit (- = farther)."""
    x = np.asarray(values, dtype=float)
    s = float(np.std(x, ddof=1))
    mean = float(np.mean(x))

    def distance(gap: float) -> float:
        if math.isinf(gap):
            return math.nan
        return gap / s if s > 0 else math.copysign(math.inf, gap)

    q = (distance(high - mean - doubt), distance(mean - low - doubt))
    return Quality(upper=q[0], lower=q[1], accepted=all(v >= k for v in q if not math.isnan(v)))
