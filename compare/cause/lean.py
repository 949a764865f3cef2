"""Why a half of the plane leans: measured lean, what each length adds to it, and what no length explains.

The lean is measured directly (plane against its own page) and solved in the linkage from the measured
lengths. Each length is then put right alone, all others left as measured: the change of lean is its
contribution, exactly; the linkage's gradient gives the same to first order. What remains between measured
and solved lean is not the fault of any length: a bowed panel, or a panel measured wrong.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from compare.cause.linkage_lean import governing_lengths, lean_rates, seen_lean, through_linkage
from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import Measured, feet_lengths
from compare.verdict.conformity import Item
from compare.vocabulary import Told, told_of

DEG = float(np.degrees(1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """What the error of one length adds to the lean of one half.

    Attributes
    ----------
    length : name of the length.
    deviation_mm : measured minus nominal.
    exact_deg : lean now minus lean with this length alone put right.
    first_order_deg : rate of the lean times the deviation.
    u_deg : standard uncertainty, from that of the length.
    """

    length: str
    deviation_mm: float
    exact_deg: float
    first_order_deg: float
    u_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning:
    """Lean of one half, degrees; + = outer edge too high.

    Attributes
    ----------
    side : the half, "left", "right", "stage 2 right" ...
    item : lean measured against the design's own lean at the measured opening, limits +- `level`.
    solved_deg : lean the linkage has for the measured lengths; nan if a length is missing.
    remainder_deg, remainder_u_deg : measured minus solved, and its standard uncertainty.
    contributions : largest first.
    """

    side: str
    item: Item
    solved_deg: float
    remainder_deg: float
    remainder_u_deg: float
    contributions: tuple[Contribution, ...]

    @property
    def remainder_matters(self) -> bool:
        """True if the remainder is larger than its expanded uncertainty and than a fifth of a degree."""
        return abs(self.remainder_deg) > max(2 * self.remainder_u_deg, 0.2)


def lean_of(mechanism: Mechanism, lengths: Mapping[str, float], phi: float, half: str) -> float:
    """Lean of one half for these lengths (what is missing is taken from the design), degrees."""
    return float(np.degrees(seen_lean(mechanism, mechanism.solve(lengths, phi), half)))


def _contributions(measured: Measured, spec: Spec, half: str) -> tuple[Contribution, ...]:
    """Put right one length at a time; only lengths that were measured."""
    mechanism = spec.mechanism
    nominal = mechanism.lengths
    names = governing_lengths(mechanism, half)
    values = {k: measured.working[k].value for k in names}
    phi = measured.opening.value
    rates = lean_rates(mechanism, values, phi, half)
    told = [k for k in names if k not in measured.assumed]
    righted = {k: np.array([values[k] if j != k else nominal[k] for j in ("", *told)]) for k in names}
    lean = np.degrees(seen_lean(mechanism, mechanism.solve(righted, phi), half))
    out = [
        Contribution(
            length=name,
            deviation_mm=values[name] - nominal[name],
            exact_deg=float(lean[0] - lean[i]),
            first_order_deg=rates[name] * DEG * (values[name] - nominal[name]),
            u_deg=abs(rates[name]) * DEG * measured.u(measured.working[name]),
        )
        for i, name in enumerate(told, start=1)
    ]
    feet = feet_lengths(mechanism)
    if feet and FEET in measured.lengths and any(k in measured.assumed and k in values for k in feet):
        out.append(_feet_contribution(measured, mechanism, values, rates, half, feet))
    return tuple(sorted(out, key=lambda c: -abs(c.exact_deg)))


def _feet_contribution(
    measured: Measured,
    mechanism: Mechanism,
    values: Mapping[str, float],
    rates: Mapping[str, float],
    half: str,
    feet: tuple[str, str],
) -> Contribution:
    """Return what the distance of the two feet adds, where they are not known one by one."""
    nominal = mechanism.lengths
    phi = measured.opening.value
    pair = [k for k in feet if k in values]
    deviation = sum(values[k] - nominal[k] for k in pair)
    righted = {**values, **{k: nominal[k] for k in pair}}
    rate = sum(rates[k] * nominal[k] for k in pair) / sum(nominal[k] for k in pair)
    now, then = (lean_of(mechanism, n, phi, half) for n in (values, righted))
    return Contribution(
        length=FEET,
        deviation_mm=deviation,
        exact_deg=now - then,
        first_order_deg=rate * DEG * deviation,
        u_deg=abs(rate) * DEG * measured.u(measured.lengths[FEET]),
    )


def leaning(measured: Measured, spec: Spec, side: str) -> Leaning | None:
    """Lean of one half with its reasons; None if the photo does not show it."""
    seen = measured.lean.get(side)
    if seen is None:
        return None
    design = lean_of(spec.mechanism, {}, measured.opening.value, side)
    if not np.isfinite(design):  # opened a little farther than the design goes
        design = lean_of(spec.mechanism, {}, np.radians(spec.base.opening_deg), side)
    item = Item(
        name=told_of(Told.LEAN, side),
        unit="deg",
        nominal=design,
        measured=seen.value * DEG,
        u=measured.u(seen) * DEG,
        low=-spec.tolerance.level_deg,
        high=spec.tolerance.level_deg,
    )
    solved = through_linkage(measured, spec, side)
    if solved is None:
        nan = float("nan")
        return Leaning(
            side=side, item=item, solved_deg=nan, remainder_deg=nan, remainder_u_deg=nan, contributions=()
        )
    rest = seen - solved
    return Leaning(
        side=side,
        item=item,
        solved_deg=solved.value * DEG,
        remainder_deg=rest.value * DEG,
        remainder_u_deg=measured.u(rest) * DEG,
        contributions=_contributions(measured, spec, side),
    )
