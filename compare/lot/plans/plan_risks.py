"""Operating characteristic of a plan by attributes, computed exactly.

Drawn from a running process the count of bad samples is binomial; drawn from a lot of known size it is
hypergeometric. No approximation is used.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from capture.arrays import Array


def chance_of_acceptance(n: int, accept: int, share: Array | float, size: int | None = None) -> Array:
    """Return the probability that a lot is accepted.

    Parameters
    ----------
    n, accept : the plan. share : nonconforming share of the lot, 0 to 1, any shape.
    size : pieces in the lot; None for a running process. The number of bad pieces is share * size, rounded.
    """
    p = np.asarray(share, dtype=float)
    if size is None:
        return np.asarray(stats.binom.cdf(accept, n, p), dtype=float)
    bad = np.rint(p * size).astype(int)
    return np.asarray(stats.hypergeom.cdf(accept, size, bad, n), dtype=float)


def share_accepted_with(n: int, accept: int, chance: float) -> float:
    """Return the nonconforming share that is accepted with this probability (running process).

    The binomial distribution function in p is a beta distribution: exact, no search.
    """
    if accept >= n:
        return math.nan
    return float(stats.beta.ppf(1 - chance, accept + 1, n - accept))


@dataclass(frozen=True, slots=True, kw_only=True)
class Risks:
    """Both risks of a plan.

    Attributes
    ----------
    producer : probability that a lot exactly at the AQL is refused.
    consumer_share : nonconforming share that is still accepted once in ten times.
    good_share : share that is accepted 95 times in a hundred.
    """

    producer: float
    consumer_share: float
    good_share: float


def risks(n: int, accept: int, aql: float) -> Risks:
    """Return the risks of a plan; aql in percent."""
    return Risks(
        producer=1 - float(chance_of_acceptance(n, accept, aql / 100)),
        consumer_share=share_accepted_with(n, accept, 0.10),
        good_share=share_accepted_with(n, accept, 0.95),
    )


def smallest_plan(good: float, producer: float, bad: float, consumer: float) -> tuple[int, int]:
    """Return the smallest (n, accept) that keeps both risks (binomial).

    Parameters
    ----------
    good, bad : shares; `good` is refused with at most `producer`, `bad` accepted with at most `consumer`.
    """
    for accept in range(0, 1000):
        # smallest n that keeps the consumer's risk: Pa falls with n
        low, high = accept + 1, accept + 1
        while float(stats.binom.cdf(accept, high, bad)) > consumer:
            high *= 2
        while low < high:
            middle = (low + high) // 2
            if float(stats.binom.cdf(accept, middle, bad)) > consumer:
                low = middle + 1
            else:
                high = middle
        if float(stats.binom.cdf(accept, low, good)) >= 1 - producer:
            return low, accept
    raise ValueError("good and bad are too close together for a plan")
