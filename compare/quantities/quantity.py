"""Numbers that remember what they were made from, so that shared errors cancel where they should.

A quantity carries its value and its gradient with respect to one common vector of inputs (the coordinates of
all joints, and a few assumed values). The standard uncertainty of any combination then follows from the
covariance of the inputs: u^2 = g^T C g (JCGM 100:2008 "GUM", 5.2.2 eq. 13, the law of propagation with
correlated inputs).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class Quantity:
    """A value and its gradient (n,) with respect to the inputs.

    Sums, differences and products with numbers are written with the usual signs; anything else goes
    through `chain`.
    """

    value: float
    gradient: Array

    def __add__(self, other: "Quantity | float") -> "Quantity":
        if isinstance(other, Quantity):
            return Quantity(self.value + other.value, self.gradient + other.gradient)
        return Quantity(self.value + other, self.gradient)

    __radd__ = __add__

    def __neg__(self) -> "Quantity":
        return Quantity(-self.value, -self.gradient)

    def __sub__(self, other: "Quantity | float") -> "Quantity":
        return self + (-other)

    def __rsub__(self, other: float) -> "Quantity":
        return (-self) + other

    def __mul__(self, factor: float) -> "Quantity":
        return Quantity(self.value * factor, self.gradient * factor)

    __rmul__ = __mul__


def chain(value: float, partials: Sequence[float], parts: Sequence[Quantity]) -> Quantity:
    """Return the quantity f(parts) with the given value and partial derivatives (chain rule)."""
    gradient = np.zeros_like(parts[0].gradient)
    for d, q in zip(partials, parts, strict=True):
        gradient = gradient + d * q.gradient
    return Quantity(value, gradient)


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """The common inputs: their covariance, whole and by source.

    Attributes
    ----------
    cov : (n, n) covariance.
    by_source : source -> (n, n) part of the covariance; the parts add up to `cov`.
    """

    cov: Array
    by_source: Mapping[str, Array]

    def u(self, q: Quantity) -> float:
        """Return the standard uncertainty of a quantity, in its own unit."""
        return float(np.sqrt(max(float(q.gradient @ self.cov @ q.gradient), 0.0)))

    def budget(self, q: Quantity) -> dict[str, float]:
        """Return the standard uncertainty of a quantity by source; the squares add up to u^2."""
        return {
            s: float(np.sqrt(max(float(q.gradient @ c @ q.gradient), 0.0))) for s, c in self.by_source.items()
        }

    def covariance(self, quantities: Sequence[Quantity]) -> Array:
        """Covariance matrix (m, m) of several quantities."""
        g = np.array([q.gradient for q in quantities])
        out: Array = g @ self.cov @ g.T
        return out

    def extended(self, name: str, sd: float) -> "Inputs":
        """Return the inputs with one more, independent, of standard deviation `sd` (its own source)."""
        n = len(self.cov)

        def grown(c: Array, corner: float) -> Array:
            out = np.zeros((n + 1, n + 1))
            out[:n, :n] = c
            out[n, n] = corner
            return out

        parts = {s: grown(c, 0.0) for s, c in self.by_source.items()}
        parts[name] = grown(np.zeros((n, n)), sd * sd)
        return Inputs(grown(self.cov, sd * sd), parts)
