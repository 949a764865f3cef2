"""Conforms, does not conform, or too close to call: the decision rule.

A measured value y with standard uncertainty u is compared with limits. Following ISO 14253-1 (proof of
conformity and of non-conformity, both outside the expanded uncertainty) and JCGM 106:2012 (guarded
acceptance, guard band w = U): it conforms if it lies inside the limits by at least U, does not conform if it
lies outside by more than U, and in between nobody can tell from this measurement. U = 2 u.

Simple acceptance (JCGM 106:2012, 8.2: the measured value alone decides, the risk is shared) can be chosen
instead; the probability of conformity stands beside either verdict.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import Final

from compare.verdict.remarks import ByHand, Remark

COVERAGE: Final = 2.0  # U = k u with k = 2, about 95 % of a normal distribution (JCGM 100:2008, 6.3.3)


class Verdict(Enum):
    """Outcome of one comparison, or of all of them."""

    CONFORMS = "conforms"
    FAILS = "does not conform"
    OPEN = "too close to call"


class Rule(Enum):
    """Decision rule: how the uncertainty enters a verdict."""

    GUARDED = "guarded"  # only what is sure by U passes or fails
    SIMPLE = "simple"  # the measured value alone decides


def _phi(z: float) -> float:
    """Return the standard normal distribution function; erfc keeps the tails exact."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def probability_within(y: float, u: float, low: float, high: float) -> float:
    """Probability that the true value lies within [low, high] when y was measured with u (JCGM 106, 7.2).

    Normal distribution about y with standard deviation u, no prior knowledge of the part; -inf and inf
    make a one-sided limit.
    """
    if u == 0:
        return float(low <= y <= high)
    upper = 1.0 if math.isinf(high) else _phi((high - y) / u)
    lower = 0.0 if math.isinf(low) else _phi((low - y) / u)
    return max(upper - lower, 0.0)


def judge(y: float, u: float, low: float, high: float, rule: Rule = Rule.GUARDED) -> Verdict:
    """Apply a decision rule; guarded: guard band U = 2 u on both sides of each limit."""
    if not (math.isfinite(y) and math.isfinite(u)):
        return Verdict.OPEN
    if rule is Rule.SIMPLE:
        return Verdict.CONFORMS if low <= y <= high else Verdict.FAILS
    band = COVERAGE * u
    if low + band <= y <= high - band:
        return Verdict.CONFORMS
    if y < low - band or y > high + band:
        return Verdict.FAILS
    return Verdict.OPEN


def overall(verdicts: Iterable[Verdict]) -> Verdict:
    """One failure fails the whole; else one doubt leaves it open."""
    seen = set(verdicts)
    if Verdict.FAILS in seen:
        return Verdict.FAILS
    return Verdict.OPEN if Verdict.OPEN in seen or not seen else Verdict.CONFORMS


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing compared with its limits.

    Attributes
    ----------
    name : e.g. "leg right".
    unit : "mm" or "deg".
    nominal : what the design says.
    measured : what was found.
    u : standard uncertainty of `measured`.
    low, high : limits on `measured - nominal`; may be infinite.
    remarks : what else belongs to it.
    rule : the decision rule its verdict follows.
    """

    name: str
    unit: str
    nominal: float
    measured: float
    u: float
    low: float
    high: float
    remarks: tuple[Remark, ...] = ()
    rule: Rule = Rule.GUARDED

    @property
    def deviation(self) -> float:
        """Measured minus nominal."""
        return self.measured - self.nominal

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = 2 u."""
        return COVERAGE * self.u

    @property
    def by_hand(self) -> tuple[str, ...]:
        """Joints at its ends that were pointed at by hand."""
        return tuple(j for r in self.remarks if isinstance(r, ByHand) for j in r.joints)

    @property
    def verdict(self) -> Verdict:
        """The verdict on this item."""
        return judge(self.deviation, self.u, self.low, self.high, self.rule)

    @property
    def probability(self) -> float:
        """Probability of conformity."""
        return probability_within(self.deviation, self.u, self.low, self.high)
