"""Control chart constants, computed from their definitions instead of copied from a table.

d2 and d3 are mean and standard deviation of the range of n standard normal values (Tippett, Biometrika 17,
1925: d2 as a single integral, the second moment as a double one), c4 is the bias of the sample standard
deviation. The limits' factors follow from them as in ISO 7870-2.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import ndtr

MAX_GROUP: Final = 50  # larger groups want the standard deviation of the whole
_REACH: Final = 8.5  # standard deviations; beyond it nothing is left of a normal distribution
_POINTS: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """Constants for groups of n values (names as in ISO 7870-2).

    Attributes
    ----------
    d2, d3 : mean and standard deviation of the range, in units of sigma.
    c4 : mean of the sample standard deviation, in units of sigma.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        """Half-width of the X-bar chart, per mean range."""
        return 3 / (self.d2 * math.sqrt(self.n))

    @property
    def a3(self) -> float:
        """Half-width of the X-bar chart, per mean standard deviation."""
        return 3 / (self.c4 * math.sqrt(self.n))

    @property
    def range_limits(self) -> tuple[float, float]:
        """D3 and D4: limits of the range chart, per mean range."""
        return max(1 - 3 * self.d3 / self.d2, 0.0), 1 + 3 * self.d3 / self.d2

    @property
    def sd_limits(self) -> tuple[float, float]:
        """B3 and B4: limits of the chart of standard deviations, per their mean."""
        half = 3 * math.sqrt(1 - self.c4**2) / self.c4
        return max(1 - half, 0.0), 1 + half


def c4(n: int) -> float:
    """Return E[s] / sigma for n normal values."""
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


@lru_cache(maxsize=MAX_GROUP)
def constants(n: int) -> Constants:
    """Return the constants for groups of n values, 2 <= n <= 50.

    Raises
    ------
    ValueError : n is out of range.
    """
    if not 2 <= n <= MAX_GROUP:
        raise ValueError(f"group size must be 2 to {MAX_GROUP}, got {n}")
    node, weight = np.polynomial.legendre.leggauss(_POINTS)
    x, w = node * _REACH, weight * _REACH
    below = ndtr(x)
    d2 = float(np.sum(w * (1 - below**n - (1 - below) ** n)))
    # E[R^2] = 2 * integral over x < y of P(min < x, max > y); the triangle is mapped to y = x + v.
    v = (node + 1) * _REACH
    lower, upper = below[:, None], ndtr(x[:, None] + v[None, :])
    both = 1 - upper**n - (1 - lower) ** n + (upper - lower) ** n
    second = 2 * float(np.sum(w[:, None] * w[None, :] * both))
    return Constants(n=n, d2=d2, d3=math.sqrt(second - d2**2), c4=c4(n))
