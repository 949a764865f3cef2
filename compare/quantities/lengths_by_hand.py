"""Lengths read by hand from the dummy, taken in beside what the photo says.

A reading with a steel rule or callipers is a measurement with its own uncertainty. All quantities of a dummy
are linear in one vector of inputs with a joint covariance, so a reading of one of them updates all (the
linear Gaussian update: Bishop, Pattern Recognition and Machine Learning, 2006, section 2.3.3; it gives what
generalised least squares over photo and readings gives). A leg that is read makes the pair it belongs to
surer, and where print scale or page level was the doubt, every other length too.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from capture.arrays import Array
from capture.errors import FoldgaugeError, Option
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import Measured, feet_lengths
from compare.quantities.quantity import Inputs, Quantity
from compare.units import Unit, inches_of, unit_of

RULE_DOUBT: Final = 0.3  # mm, U of a steel rule on a floppy dummy; common practice, no source
CONTRADICTS: Final = (
    5.0  # times the uncertainty of their difference: then photo or reading is of something else
)
SURE_U: Final = 0.01  # mm, the least uncertainty believed of a reading by hand
SOURCE: Final = "read by hand: "
_READING: Final = re.compile(r"(?P<name>[^=]+)=(?P<value>.+?)(?:(?:\+-|\+/-|±)(?P<doubt>.+))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class HandReading:
    """One length read by hand: its name, what was read (mm), and the standard uncertainty of that (mm)."""

    name: str
    value_mm: float
    u_mm: float = RULE_DOUBT / 2


def readable(spec: Spec) -> tuple[str, ...]:
    """Return the lengths that can be read by hand."""
    m = spec.mechanism
    return (*((FEET,) if feet_lengths(m) else ()), *(k for k in m.lengths if k in m.ends))


def _number(text: str, spec: Spec) -> float:
    """Return a length in mm, written in the spec's unit."""
    unit = unit_of(spec.units)
    plain = text.strip().removesuffix(unit.name).strip()
    inches = inches_of(plain) if unit.name == "in" else None
    try:
        value = float(plain) if inches is None else inches
    except ValueError:
        value = float("nan")
    return value * unit.mm


def reading_of(text: str, spec: Spec) -> HandReading:
    """Return a reading written as "leg left=39.8" or "leg left=39.8 +- 0.3" (U), in the spec's unit.

    Raises
    ------
    FoldgaugeError : it is not written so, or the design has no such length.
    """
    found = _READING.fullmatch(text.strip())
    if found is None:
        raise FoldgaugeError(Option.READING, f': "leg left=39.8 +- 0.3" is wanted, got {text!r}')
    name = " ".join(found["name"].split())
    if name not in readable(spec):
        known = ", ".join(readable(spec))
        raise FoldgaugeError(Option.READING, f": the design has no length {name!r} to read; it has {known}")
    value = _number(found["value"], spec)
    doubt = RULE_DOUBT if found["doubt"] is None else _number(found["doubt"], spec)
    if not (np.isfinite(value) and 0 < value < 2000 and np.isfinite(doubt) and 0 < doubt <= 20):
        unit = unit_of(spec.units).name
        raise FoldgaugeError(
            Option.READING, f": {text!r}: a length and its doubt in {unit} are wanted, with a decimal point"
        )
    return HandReading(name=name, value_mm=value, u_mm=max(doubt / 2, SURE_U))


def _longer(q: Quantity, n: int) -> Quantity:
    return Quantity(q.value, np.concatenate([q.gradient, np.zeros(n - len(q.gradient))]))


def _all(measured: Measured, change: "_Change") -> Measured:
    def each(group: Mapping[str, Quantity]) -> dict[str, Quantity]:
        return {k: change.of(q) for k, q in group.items()}

    return replace(
        measured,
        lengths=each(measured.lengths),
        angles=each(measured.angles),
        lean=each(measured.lean),
        working=each(measured.working),
        opening=change.of(measured.opening),
        inputs=change.inputs,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Change:
    """New inputs, and how far their best values moved."""

    inputs: Inputs
    shift: Array

    def of(self, q: Quantity) -> Quantity:
        q = _longer(q, len(self.shift))
        return Quantity(q.value + float(q.gradient @ self.shift), q.gradient)


def _taken_in(measured: Measured, reading: HandReading, q: Quantity, unit: Unit) -> Measured:
    """Update everything by a reading of a quantity that is known already."""
    inputs, name = measured.inputs, f"{SOURCE}{reading.name}"
    g, s2 = q.gradient, reading.u_mm**2
    spread = float(g @ inputs.cov @ g)
    off = reading.value_mm - q.value
    if abs(off) > CONTRADICTS * np.sqrt(spread + s2):
        raise FoldgaugeError(
            Option.READING,
            f": {reading.name} read as {unit.words(reading.value_mm)} contradicts the photo, which says "
            f"{unit.known(q.value, 2 * float(np.sqrt(spread)))}; read it again, fold to fold",
        )
    gain = inputs.cov @ g / (spread + s2)
    kept = np.eye(len(g)) - np.outer(gain, g)
    parts = {k: kept @ c @ kept.T for k, c in inputs.by_source.items()}
    parts[name] = parts.get(name, np.zeros_like(inputs.cov)) + s2 * np.outer(gain, gain)
    cov = sum(parts.values(), np.zeros_like(inputs.cov))
    return _all(measured, _Change(Inputs(cov, parts), gain * off))


def _new(measured: Measured, reading: HandReading) -> Measured:
    """Add a length of which the photo says nothing."""
    inputs = measured.inputs.extended(f"{SOURCE}{reading.name}", reading.u_mm)
    n = len(inputs.cov)
    out = _all(measured, _Change(inputs, np.zeros(n)))
    q = Quantity(reading.value_mm, np.eye(n)[-1])
    return replace(out, working={**out.working, reading.name: q}, lengths={**out.lengths, reading.name: q})


def _told_now(measured: Measured, spec: Spec, name: str) -> Measured:
    """Count a length that was assumed among the measured ones; with one foot the other is known too."""
    feet = feet_lengths(spec.mechanism) or ()
    both = name in feet and FEET in measured.lengths
    told = [k for k in (feet if both else (name,)) if k in measured.working]
    order = [k for k in (*measured.lengths, *spec.mechanism.lengths) if k in {*measured.lengths, *told}]
    lengths = {k: measured.lengths.get(k) or measured.working[k] for k in dict.fromkeys(order)}
    return replace(
        measured,
        lengths=lengths,
        assumed={k: v for k, v in measured.assumed.items() if k not in told},
        undetermined={k: v for k, v in measured.undetermined.items() if k not in told},
    )


def with_readings(measured: Measured, spec: Spec, readings: Iterable[HandReading]) -> Measured:
    """Return what is known of a dummy with lengths read by hand taken in.

    Raises
    ------
    FoldgaugeError : a reading contradicts the photo.
    """
    for reading in readings:
        q = measured.lengths.get(reading.name) or measured.working.get(reading.name)
        measured = (
            _new(measured, reading) if q is None else _taken_in(measured, reading, q, unit_of(spec.units))
        )
        measured = _told_now(measured, spec, reading.name)
    return measured


def as_cut(measured: Measured, spec: Spec, spread_mm: float, blamed: Sequence[str]) -> Measured:
    """Return what is known of a dummy if its lengths scatter about the design as hand work does.

    Parameters
    ----------
    spread_mm : standard deviation of that scatter.
    blamed : lengths that a fault has spoilt; of them only the measurement speaks.
    """
    nominal = spec.mechanism.lengths
    known = [k for k in measured.lengths if k in nominal and k not in blamed]
    for k in known:
        prior = HandReading(name=k, value_mm=nominal[k], u_mm=spread_mm)
        q = measured.lengths[k]
        size = np.sqrt(measured.u(q) ** 2 + spread_mm**2)
        if abs(q.value - nominal[k]) < CONTRADICTS * size:
            measured = _taken_in(measured, prior, q, unit_of(spec.units))
    return measured
