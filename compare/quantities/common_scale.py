"""Is everything too large or too small together? Then the ruler is wrong, not the dummy.

A backdrop taken for an arch, a wrong standoff, or a sheet printed to fit the page changes all lengths by the
same factor. No cutting does that, so if one factor explains the measurements better than any fault does, the
set-up is to be mended before anything is said about the dummy.
"""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from compare.cause.causes import (
    FAULT_SD,
    cutting_covariance,
    evidence,
    observed_lengths,
    observed_pattern,
    spine_seen,
)
from compare.cause.faults import faults_of
from compare.design.spec.spec import Spec
from compare.quantities.measured import Measured, feet_lengths, nominal_lengths
from compare.verdict.conformity import COVERAGE

SCALE_SD: Final = 0.1  # how wrong a set-up can make the scale; a backdrop taken for an arch: about 10 %
LEAST: Final = 0.015  # below this it is left to the uncertainty budget
MUCH_BETTER: Final = 8.0  # difference of log evidence, odds of 3000 to 1: nobody is refused lightly


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonScale:
    """Factor by which all lengths are off together, minus 1, and its standard uncertainty."""

    off: float
    u: float


def common_scale(measured: Measured, spec: Spec) -> CommonScale | None:
    """Return the common scale error if the lengths speak for one, beside at most one fault, else None."""
    nominal = nominal_lengths(spec, measured.opening.value)
    names = observed_lengths(measured, spec)
    if len(names) < 6:
        return None
    size = np.array([nominal[k] for k in names])
    d = np.array([measured.lengths[k].value for k in names]) - size
    s = measured.inputs.covariance([measured.lengths[k] for k in names]) + cutting_covariance(names)
    mechanism = spec.mechanism
    feet = feet_lengths(mechanism)
    spine = spine_seen(names, mechanism)
    shown = [observed_pattern(f, names, feet) for f in faults_of(spec, spine_seen=spine)]
    faults = [FAULT_SD**2 * np.outer(p, p) for p in shown]
    alone = [np.zeros_like(s), *faults]
    scaled = s + SCALE_SD**2 * np.outer(size, size) + np.array(alone)
    plain = s + np.array([*alone, *(a + b for a, b in combinations(faults, 2))])
    log_scaled, log_plain = evidence(d[None], scaled)[0], evidence(d[None], plain)[0]
    if log_scaled.max() - log_plain.max() < MUCH_BETTER:
        return None
    weight = np.linalg.inv(s + alone[int(np.argmax(log_scaled))])
    u = float(1 / np.sqrt(size @ weight @ size))
    off = u * u * float(size @ weight @ d)
    left = d - off * size
    fits = float(left @ weight @ left) < 3 * len(names)  # a wrong set-up leaves little over
    return CommonScale(off=off, u=u) if fits and abs(off) > max(LEAST, COVERAGE * u) else None
