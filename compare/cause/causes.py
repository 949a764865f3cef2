"""Which fault explains ALL the measurements best.

Hypotheses: nothing wrong beyond the spread of hand cutting; one fault; two faults. Under each the
deviations d of all measured lengths from nominal are normal with covariance

    S = measurement covariance + (hand-cutting spread)^2 I + A^2 sum p p^T

where p is the pattern of a fault and A how large faults are, so the evidence of a hypothesis is the density
of d (the marginal likelihood of a linear Gaussian model; Bishop, Pattern Recognition and Machine Learning,
2006, section 3.4), weighed with how likely it was beforehand. Because the whole covariance enters, errors
the lengths share (scale, page line) accuse nobody, and a fault is named for explaining everything, not for
having the biggest number.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.cause.faults import faults_of
from compare.cause.linkage_lean import seen_lean
from compare.design.craft.fault import Fault
from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import Measured, feet_lengths, nominal_lengths

CUTTING_SD: Final = 0.3  # mm, a strip scored and cut by hand; common practice, no source
FAULT_SD: Final = 3.0  # mm, how large faults are that someone asks about; our choice
PRIOR_NONE: Final = 0.5
PRIOR_TWO: Final = 0.05  # two faults at once; the rest is for one fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One fault, how large it would be, and how likely it is.

    Attributes
    ----------
    fault : the fault.
    size_mm, u_mm : best size given all measurements (generalised least squares) and its standard uncertainty.
    probability : that this fault is present, over all hypotheses considered.
    lean_deg : half -> how much of the lean this fault makes (degrees).
    named : True if it belongs to the best hypothesis.
    """

    fault: Fault
    size_mm: float
    u_mm: float
    probability: float
    lean_deg: Mapping[str, float]
    named: bool

    @property
    def telling(self) -> float:
        """Return the largest lean it makes (degrees), plus a little of its size to order those without."""
        return max([abs(v) for v in self.lean_deg.values()], default=0.0) + 0.01 * abs(self.size_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """Ranked causes.

    Attributes
    ----------
    causes : likeliest first; those of the best hypothesis carry `named`.
    probability_none : that nothing is wrong beyond the spread of hand cutting.
    misfit : chi-square of the best hypothesis per degree of freedom; about 1 if it explains everything.
    """

    causes: tuple[Cause, ...]
    probability_none: float
    misfit: float

    @property
    def named(self) -> tuple[Cause, ...]:
        """The causes of the best hypothesis; () if that is "nothing wrong"."""
        return tuple(c for c in self.causes if c.named)


def observed_pattern(fault: Fault, names: Sequence[str], feet: tuple[str, str] | None) -> Array:
    """Pattern of a fault on the lengths that were measured ("feet" is the sum of the two `feet`)."""
    p = fault.pattern
    apart = sum(p.get(k, 0.0) for k in feet or ())
    return np.array([apart if n == FEET else p.get(n, 0.0) for n in names])


def spine_seen(names: Sequence[str], mechanism: Mechanism) -> bool:
    """Return whether the two inner feet are known one by one."""
    feet = feet_lengths(mechanism)
    return feet is not None and all(k in names for k in feet)


def observed_lengths(measured: Measured, spec: Spec) -> list[str]:
    """Names of the measured lengths; "feet" only where it is not the sum of two others."""
    names = [k for k in nominal_lengths(spec) if k in measured.lengths]
    sums = [k for k in names if k not in spec.mechanism.lengths]
    for name in sums:  # they would make the covariance singular
        if name != FEET or spine_seen(names, spec.mechanism):
            names.remove(name)
    return names


def _unless_same(patterns: Sequence[Array]) -> list[int]:
    """Return the indices of the patterns that show at all and are not (up to sign) like an earlier one."""
    kept: list[int] = []
    for i, p in enumerate(patterns):
        if not np.any(p):
            continue
        if any(np.array_equal(p, q) or np.array_equal(p, -q) for q in (patterns[k] for k in kept)):
            continue
        kept.append(i)
    return kept


def evidence(d: Array, covariances: Array) -> Array:
    """Log density of deviations under several hypotheses, each with its covariance.

    Parameters
    ----------
    d : (n, m) deviations of n samples, mm.
    covariances : (h, m, m), mm^2.

    Returns
    -------
    (n, h) natural logarithms.
    """
    factor = np.linalg.cholesky(covariances)
    white = np.linalg.solve(factor, np.broadcast_to(d.T, (len(covariances), *d.T.shape)))
    chi2 = np.sum(white**2, axis=1)
    size = np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1)
    out: Array = (-0.5 * (chi2 + d.shape[1] * np.log(2 * np.pi)) - size[:, None]).T
    return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Weighing:
    """Hypotheses (tuples of fault indices) and their probabilities (samples, hypotheses)."""

    hypotheses: tuple[tuple[int, ...], ...]
    probability: Array


def weigh(d: Array, s: Array, patterns: Sequence[Array], weights: Sequence[float]) -> Weighing:
    """Probabilities of "nothing wrong", each single fault and each pair of faults.

    Parameters
    ----------
    d : (samples, m) deviations, mm; s : (m, m) covariance without a fault; patterns, weights : per fault.
    """
    singles = [(i,) for i in range(len(patterns))]
    pairs = list(combinations(range(len(patterns)), 2))
    w = np.asarray(weights)
    hypotheses = ((), *singles, *pairs)
    prior_one = (1 - PRIOR_NONE - PRIOR_TWO) * w / w.sum()
    prior_two = np.array([w[i] * w[j] for i, j in pairs])
    prior_two = PRIOR_TWO * prior_two / prior_two.sum() if len(pairs) else prior_two
    prior = np.log(np.concatenate([[PRIOR_NONE], prior_one, prior_two]))
    spread = [FAULT_SD**2 * np.outer(p, p) for p in patterns]
    covariances = np.array([s + sum((spread[i] for i in h), np.zeros_like(s)) for h in hypotheses])
    log = evidence(d, covariances) + prior
    log -= log.max(axis=-1, keepdims=True)
    p = np.exp(log)
    return Weighing(hypotheses=hypotheses, probability=p / p.sum(axis=-1, keepdims=True))


def _with_further(best: tuple[int, ...], d: Array, s: Array, patterns: Sequence[Array]) -> tuple[int, ...]:
    """Return the best hypothesis, from two faults on with every further fault the evidence asks for.

    Each further fault is as unlikely beforehand as the second was (odds of PRIOR_TWO to one fault, shared
    among all faults), so it is taken only if it raises the evidence by more than that.
    """
    price = np.log((1 - PRIOR_NONE - PRIOR_TWO) / PRIOR_TWO * len(patterns))
    while 2 <= len(best) < len(d) - 1:
        known = s + FAULT_SD**2 * sum(np.outer(patterns[i], patterns[i]) for i in best)
        more = [i for i in range(len(patterns)) if i not in best]
        trials = [known, *(known + FAULT_SD**2 * np.outer(patterns[i], patterns[i]) for i in more)]
        log = evidence(d[None], np.array(trials))[0]
        gain = log[1:] - log[0]
        if gain.max() < price:
            break
        best = (*best, more[int(np.argmax(gain))])
    return best


def cutting_covariance(names: Sequence[str], cutting_sd: float = CUTTING_SD) -> Array:
    """Return the covariance of hand cutting and gluing, mm^2: independent; the feet are two placements."""
    return np.diag([cutting_sd**2 * (2.0 if n == FEET else 1.0) for n in names])


def _sizes(d: Array, s: Array, patterns: Sequence[Array]) -> tuple[Array, Array, float]:
    """Generalised least squares: sizes, their standard uncertainties, chi-square of what is left."""
    p = np.stack(patterns, axis=1)
    weight = np.linalg.inv(s)
    cov = np.linalg.inv(p.T @ weight @ p)
    size = cov @ p.T @ weight @ d
    left = d - p @ size
    return size, np.sqrt(np.diag(cov)), float(left @ weight @ left)


def _size_of(
    i: int, d: Array, u: Array, s: Array, patterns: Sequence[Array], best: tuple[int, ...]
) -> tuple[float, float]:
    """Return the size of one fault and its standard uncertainty.

    A fault that shows in one length only has the size that was measured there, so that the answer and the
    table agree; the size of any other is fitted to all lengths, with the rest of the best hypothesis.
    """
    shown = np.flatnonzero(patterns[i])
    if len(shown) == 1:
        k = int(shown[0])
        return float(d[k] / patterns[i][k]), float(u[k] / abs(patterns[i][k]))
    group = best if i in best else (i,)
    size, sd, _ = _sizes(d, s, [patterns[k] for k in group])
    at = group.index(i)
    return float(size[at]), float(sd[at])


def _lean_effects(
    measured: Measured, mechanism: Mechanism, faults: Sequence[Fault], sizes: Sequence[float]
) -> list[dict[str, float]]:
    """Lean as measured minus lean with each fault taken out alone, degrees by half, one dict per fault."""
    out: list[dict[str, float]] = [{} for _ in faults]
    known = {k: q.value for k, q in measured.working.items()}
    taken = {
        k: np.array([0.0] + [z * f.pattern.get(k, 0.0) for f, z in zip(faults, sizes, strict=True)])
        for k in known
    }
    pose = mechanism.solve({k: v - taken[k] for k, v in known.items()}, measured.opening.value)
    for half in mechanism.halves:
        if half.name not in measured.lean:
            continue  # what is not seen of a half that is (an inner leg) is taken from the design
        lean = np.degrees(seen_lean(mechanism, pose, half.name))
        for effects, value in zip(out, lean[0] - lean[1:], strict=True):
            effects[half.name] = float(value)
    return out


def cause_of_length(name: str, size: float, u: float, measured: Measured, spec: Spec) -> Cause | None:
    """Return one length's own error as a cause, as measured; None if no fault goes by that name."""
    mechanism = spec.mechanism
    for fault in faults_of(spec, spine_seen=spine_seen(list(measured.lengths), mechanism)):
        if fault.name == name:
            (effect,) = _lean_effects(measured, mechanism, [fault], [size])
            return Cause(
                fault=fault, size_mm=size, u_mm=u, probability=float("nan"), lean_deg=effect, named=True
            )
    return None


def _merged(causes: Sequence[Cause]) -> tuple[Cause, ...]:
    """Return one cause per name (a fault may leave one of two patterns), the named and likeliest first."""
    by_name: dict[str, Cause] = {}
    for c in sorted(causes, key=lambda c: (not c.named, -c.probability)):
        first = by_name.get(c.fault.name)
        if first is None:
            by_name[c.fault.name] = c
        else:
            by_name[c.fault.name] = replace(first, probability=min(first.probability + c.probability, 1.0))
    return tuple(sorted(by_name.values(), key=lambda c: (not c.named, -c.probability)))


def diagnose(measured: Measured, spec: Spec) -> Diagnosis:
    """Weigh all faults against the measured lengths and rank them."""
    nominal = nominal_lengths(spec, measured.opening.value)
    names = observed_lengths(measured, spec)
    if not names:
        return Diagnosis(causes=(), probability_none=1.0, misfit=float("nan"))
    d = np.array([measured.lengths[k].value - nominal[k] for k in names])
    s = measured.inputs.covariance([measured.lengths[k] for k in names]) + cutting_covariance(names)
    mechanism = spec.mechanism
    faults = faults_of(spec, spine_seen=spine_seen(names, mechanism))
    patterns = [observed_pattern(f, names, feet_lengths(mechanism)) for f in faults]
    kept = _unless_same(patterns)
    weighing = weigh(d[None], s, [patterns[i] for i in kept], [faults[i].weight for i in kept])
    p = weighing.probability[0]
    best = _with_further(weighing.hypotheses[int(np.argmax(p))], d, s, [patterns[i] for i in kept])
    misfit = (
        _sizes(d, s, [patterns[kept[i]] for i in best])[2] if best else float(d @ np.linalg.solve(s, d))
    ) / max(len(d) - len(best), 1)
    u = np.sqrt(np.diag(measured.inputs.covariance([measured.lengths[k] for k in names])))
    fitted = [_size_of(i, d, u, s, [patterns[k] for k in kept], best) for i in range(len(kept))]
    leans = _lean_effects(measured, mechanism, [faults[k] for k in kept], [z for z, _ in fitted])
    causes = [
        Cause(
            fault=faults[index],
            size_mm=fitted[i][0],
            u_mm=fitted[i][1],
            probability=float(p[[i in h for h in weighing.hypotheses]].sum()),
            lean_deg=leans[i],
            named=i in best,
        )
        for i, index in enumerate(kept)
    ]
    return Diagnosis(causes=_merged(causes), probability_none=float(p[0]), misfit=misfit)
