"""How likely a dummy is good, all items together, and which single reading by hand would decide most.

The verdict is guarded item by item; a person who has to decide bets on the whole. Items share errors (print
scale, page level, joints), so the chance that all hold is not the product of their chances: it is the share
of draws from their joint distribution in which all do (JCGM 101:2008, 7). Unlike the probability of a single
item (JCGM 106:2012, 7.2, no prior knowledge) it does use what is known of hand work: lengths that no fault
has spoilt scatter about the design.

Which reading would decide most: for each length, what a reading by steel rule would most likely say is drawn
too. With p the chance that the dummy is good, p (1 - p) is the doubt left; the reading to take is the one
after which least of it is expected to be left (the error of a stated chance counted squared, as forecasts are
scored: Brier, Monthly Weather Review 78, 1950).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.spec.spec import Spec
from compare.quantities.lengths_by_hand import RULE_DOUBT, readable
from compare.quantities.measured import Measured
from compare.quantities.quantity import Quantity
from compare.verdict.conformity import Item
from compare.verdict.matched_pairs import matches_of, total_of
from compare.verdict.shut_reach import shut
from compare.vocabulary import Told, parsed

DRAWS: Final = 16000
BINS: Final = 16  # of what a reading may say; 1000 draws each, a share is known within 0.03
WORTH: Final = 0.1  # of the doubt a reading must take away


@dataclass(frozen=True, slots=True, kw_only=True)
class BestReading:
    """The reading by hand that would decide most.

    Attributes
    ----------
    name : the length. expected_mm, u_mm : what it will most likely say, with its standard uncertainty.
    settles : part of the doubt that it is expected to take away, 0 to 1.
    """

    name: str
    expected_mm: float
    u_mm: float
    settles: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """How likely a dummy is good, and what would make that surer.

    Attributes
    ----------
    good : probability that every item is within its limits.
    reading : what to read by hand; None if no reading would help.
    """

    good: float
    reading: BestReading | None


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """A quantity and between which values it may lie, in its unit."""

    quantity: Quantity
    low: float
    high: float


def demands_of(measured: Measured, spec: Spec, items: Sequence[Item]) -> tuple[Demand, ...]:
    """Return the compared items as quantities of what is known of a dummy, with their limits."""
    matches = {m.name: m.terms for m in matches_of(spec.mechanism)}
    out = []
    for item in items:
        n = parsed(item.name)
        q: Quantity | None
        if n.told == Told.LEAN:
            q = measured.lean[n.about] * float(np.degrees(1.0))
        elif n.told == Told.CLEARANCE:
            reach = shut(measured, spec, n.side)
            q = None if reach is None else reach.clearance
        elif item.name in matches:
            q = total_of(matches[item.name], measured)
        else:
            q = measured.lengths[item.name]
        if q is not None:
            out.append(Demand(q, item.nominal + item.low, item.nominal + item.high))
    return tuple(out)


def _doubt_left(good: Array, reading: Array) -> float:
    """Return the doubt expected to be left once a reading is known."""
    order = np.argsort(reading)
    shares = [float(np.mean(part)) for part in np.array_split(good[order], BINS)]
    return float(np.mean([p * (1 - p) for p in shares]))


def outlook_of(
    measured: Measured, spec: Spec, demands: Sequence[Demand], rng: np.random.Generator | None = None
) -> Outlook:
    """Return how likely all demands hold, and the reading by hand that would decide most.

    Parameters
    ----------
    measured : what is known, by photo, readings and hand work.
    rng : for the draws; None: a fixed one, so that the same photo always gives the same answer.
    """
    rng = np.random.default_rng(31) if rng is None else rng
    names = [k for k in readable(spec) if k in measured.lengths or k in measured.working]
    known = [measured.lengths.get(k) or measured.working[k] for k in names]
    cov = measured.inputs.covariance([*(d.quantity for d in demands), *known])
    w, v = np.linalg.eigh(cov)
    drawn = rng.standard_normal((DRAWS, len(w))) @ (v * np.sqrt(np.clip(w, 0, None))).T
    values = drawn[:, : len(demands)] + np.array([d.quantity.value for d in demands])
    low, high = np.array([d.low for d in demands]), np.array([d.high for d in demands])
    good = np.all((values >= low) & (values <= high), axis=1).astype(float)
    share = float(np.mean(good))
    u = RULE_DOUBT / 2
    noise = rng.normal(0, u, DRAWS)
    left = [_doubt_left(good, drawn[:, len(demands) + i] + noise) for i in range(len(names))]
    doubt = share * (1 - share)
    best = int(np.argmin(left)) if left else 0
    if not left or doubt < 1 / DRAWS or left[best] > (1 - WORTH) * doubt:
        return Outlook(good=share, reading=None)
    q = known[best]
    told = BestReading(
        name=names[best],
        expected_mm=q.value,
        u_mm=float(np.hypot(measured.u(q), u)),
        settles=1 - left[best] / doubt,
    )
    return Outlook(good=share, reading=told)
