"""What is known of a dummy's lengths before it is mended: as measured, as its faults explain it, as hands do.

A photo knows each length with some doubt and some not at all; but strips are cut and glued near their design,
except where a fault was found. So the lengths are those of a linear Gaussian model (as in
`compare.cause.causes`): beforehand they scatter about the design as hand work does, and freely along the
patterns of the faults found; the measurement then updates that (Bishop, Pattern Recognition and Machine
Learning, 2006, section 2.3.3). So no repair runs after the noise of the measurement, and where only the
distance of the feet was seen, the fault says which of them is off; where several faults would look the same,
it stays open.
"""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.cause.causes import (
    CUTTING_SD,
    FAULT_SD,
    Cause,
    observed_lengths,
    observed_pattern,
    spine_seen,
)
from compare.cause.faults import faults_of
from compare.cure.rules_kept import Dummy
from compare.design.craft.fault import Fault
from compare.design.spec.spec import Spec
from compare.quantities.measured import FOOT_PLACEMENT_SD, SPLIT_OF_FEET, Measured, feet_lengths
from compare.quantities.undetermined import Reason, Why
from compare.verdict.conformity import Item

UNKNOWN: Final = 100.0  # times what was assumed of the split of the feet: it is no measurement
NO_MEASUREMENT: Final = (Why.FROM_DESIGN, Why.PAGE_FROM_DESIGN)


def _alike(cause: Cause, measured: Measured, spec: Spec) -> list[Fault]:
    """Return all faults that would look the same in this photo: any of them may be what happened."""
    seen = observed_lengths(measured, spec)
    feet = feet_lengths(spec.mechanism)
    shown = observed_pattern(cause.fault, seen, feet)
    out = [cause.fault]
    for fault in faults_of(spec, spine_seen=spine_seen(seen, spec.mechanism)):
        p = observed_pattern(fault, seen, feet)
        if fault != cause.fault and p.any() and (np.array_equal(p, shown) or np.array_equal(p, -shown)):
            out.append(fault)
    return out


def _prior(names: Sequence[str], measured: Measured, spec: Spec, causes: Sequence[Cause]) -> Array:
    """Return the covariance of the lengths about the design before they are measured, mm^2."""
    by_eye = [k for k in feet_lengths(spec.mechanism) or () if k in measured.assumed]
    out = np.diag([FOOT_PLACEMENT_SD**2 if k in by_eye else CUTTING_SD**2 for k in names])
    for cause in causes:
        for fault in _alike(cause, measured, spec):
            p = np.array([fault.pattern.get(k, 0.0) for k in names])
            out = out + (FAULT_SD**2 + cause.size_mm**2) * np.outer(p, p)
    return out


def _observed(measured: Measured, names: Sequence[str]) -> list[str]:
    """Return the lengths of which a photo says something."""

    def assumed(name: str) -> bool:
        reason = measured.assumed.get(name)
        return isinstance(reason, Reason) and reason.why in NO_MEASUREMENT

    return [k for k in names if k in measured.working and not assumed(k)]


def dummy_of(
    measured: Measured,
    spec: Spec,
    now: Mapping[str, Item],
    causes: Sequence[Cause],
    unexplained: Mapping[str, float],
) -> Dummy:
    """Return the dummy as it is known.

    Parameters
    ----------
    now : the items of the verdict by name.
    causes : the faults found.
    unexplained : lean -> degrees of it that no length makes.
    """
    mechanism = spec.mechanism
    names = tuple(k for k in mechanism.lengths if k in mechanism.ends)
    nominal = np.array([mechanism.lengths[k] for k in names])
    prior = _prior(names, measured, spec, causes)
    seen = _observed(measured, names)
    parts = [measured.working[k] for k in seen]
    split = measured.inputs.by_source[SPLIT_OF_FEET]
    g = np.array([q.gradient for q in parts]).reshape(len(seen), len(measured.inputs.cov))
    noise = g @ (measured.inputs.cov + (UNKNOWN**2 - 1) * split) @ g.T
    at = [names.index(k) for k in seen]
    gain = np.linalg.solve(prior[np.ix_(at, at)] + noise, prior[at]).T
    off = np.array([q.value for q in parts]) - nominal[at]
    cov = prior - gain @ prior[at]
    return Dummy(
        spec=spec,
        names=names,
        values=nominal + gain @ off,
        cov=(cov + cov.T) / 2,
        seen=frozenset(k for k in names if k in measured.working),
        phi=measured.opening.value,
        now=now,
        unexplained=unexplained,
    )
