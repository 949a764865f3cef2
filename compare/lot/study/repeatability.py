"""What of a reading's uncertainty is its own, and what it shares with all photos of the set-up.

A sample's own error scatters from sample to sample, and the lot shows how much at most: successive samples
cannot differ less than their measuring does. What is stated beyond that bound must be common to all.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.lot.charts.control_charts import short_term_sigma
from compare.lot.run.samples import Sample
from compare.lot.study.capability import moving_range_freedom

BOUND_FROM: Final = 8  # samples from which on their scatter bounds the own part
BOUND_CONFIDENCE: Final = 0.95


def scatter_bound(values: Sequence[float] | Array) -> float:
    """Return the upper 95 % bound of the standard deviation from successive samples; inf with too few.

    Chi-square interval of a variance with the degrees of freedom of a mean moving range.
    """
    n = len(values)
    if n < BOUND_FROM:
        return math.inf
    freedom = moving_range_freedom(n)
    return short_term_sigma(values) * math.sqrt(
        freedom / float(stats.chi2.ppf(1 - BOUND_CONFIDENCE, freedom))
    )


def set_apart(samples: Sequence[Sample]) -> tuple[Sample, ...]:
    """Return the samples with each reading's own part bounded by the scatter of the lot; the rest is common.

    The uncertainty of a reading as a whole stays what it is. What rests on assumed values (an unseen spine)
    cannot be seen to scatter, so it stays beside the bound.
    """
    names = dict.fromkeys(n for s in samples for n in s.readings)
    bounds = {n: scatter_bound([s.readings[n].deviation for s in samples if n in s.readings]) for n in names}
    out = []
    for s in samples:
        readings = {}
        for name, r in s.readings.items():
            own = min(r.own, bounds[name])
            readings[name] = replace(r, common=math.sqrt(max(r.u**2 - own**2 - r.assumed**2, 0.0)))
        out.append(replace(s, readings=readings))
    return tuple(out)


def weights_of(values: Sequence[float] | Array, own: Sequence[float] | Array) -> Array:
    """Return weights of values by their own standard uncertainty, their mean 1.

    The parts differ as well: weights are inverse to the variance of both together, the parts' share taken
    from successive values (a random-effects model; all alike where all uncertainties are alike).
    """
    x, u = np.asarray(values, dtype=float), np.asarray(own, dtype=float)
    if len(x) < 2 or not np.all(np.isfinite(u)) or not np.ptp(u) > 0:
        return np.ones(len(x))
    parts = max(short_term_sigma(x) ** 2 - float(np.mean(u**2)), 0.0)
    variance = np.maximum(parts + u**2, 1e-12 + 1e-6 * float(np.max(u**2)))
    return np.asarray(1 / variance / np.mean(1 / variance), dtype=float)
