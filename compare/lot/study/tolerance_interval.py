"""Statistical tolerance intervals: limits that hold a share of all parts, with a stated confidence.

Exact for a normal distribution (ISO 16269-6): one-sided by the noncentral t, two-sided by integrating over
the mean; without any distribution by order statistics.
"""

import math
from functools import cache

import numpy as np
from scipy import stats
from scipy.optimize import brentq
from scipy.special import ndtr

_NODES = 64  # Gauss-Hermite nodes; 40 give the same ten digits


def one_sided_factor(n: int, share: float, confidence: float) -> float:
    """Return k: mean + k s lies above at least `share` of the parts, with the stated confidence."""
    shift = float(stats.norm.ppf(share)) * math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, shift)) / math.sqrt(n)


def _half_width(offset: float, share: float) -> float:
    """Half-width r of an interval about `offset` that holds `share` of a standard normal distribution."""
    a = abs(offset)
    return float(brentq(lambda r: float(ndtr(a + r) - ndtr(a - r)) - share, 0.0, a + 40.0, xtol=1e-13))


@cache
def two_sided_factor(n: int, share: float, confidence: float) -> float:
    """Return k: mean +- k s holds at least `share` of the parts, with the stated confidence.

    Solves E over the mean of P(chi2 > (n-1) r^2 / k^2) = confidence (ISO 16269-6; the exact definition, not
    the usual approximation).
    """
    node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    weight = weight / weight.sum()
    r = np.array([_half_width(float(z) / math.sqrt(n), share) for z in node])

    def excess(k: float) -> float:
        return float(np.sum(weight * stats.chi2.sf((n - 1) * r**2 / k**2, n - 1))) - confidence

    guess = float(stats.norm.ppf((1 + share) / 2))
    return float(brentq(excess, guess / 4, guess * 400, xtol=1e-11))


def confidence_without_distribution(n: int, share: float) -> float:
    """Return the confidence with which the smallest and largest of n values hold `share` of the parts.

    Wilks (Annals of Mathematical Statistics 12, 1941): 1 - n p^(n-1) + (n-1) p^n.
    """
    return 1 - n * share ** (n - 1) + (n - 1) * share**n
