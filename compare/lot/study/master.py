"""Samples of a lot measured by hand as well: what is common to all photos of the set-up is taken off.

A comparison measurement (JCGM 100:2008 "GUM", example H.1, the end gauge compared with a known standard): the
difference of two photos of one set-up is as sure as what they do not share, and the master's own length is
known from the hand. With several masters their disagreement also shows how much a photo's own error scatters.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.compare_errors import LotError, LotOption
from compare.design.spec.spec import Spec
from compare.lot.run.hand_readings import HandReading
from compare.lot.run.samples import Reading, Sample
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import feet_lengths, nominal_lengths
from compare.verdict.matched_pairs import Terms, matches_of

TOO_FAR: Final = 3.0  # hand and photo this many standard uncertainties apart: one of them is a mistake
ALIKE: Final = 2.0  # lengths of one photo share errors: so many of them count as one reading
MOST_TOLD: Final = 12  # samples named in an error
LEAST_FREEDOM: Final = 2.0  # degrees of freedom from which the masters' disagreement tells the own part


@dataclass(frozen=True, slots=True, kw_only=True)
class Master:
    """A sample and what was read on it by hand: length -> reading, mm."""

    sample: str
    readings: Mapping[str, HandReading]


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What the photos show of one thing beyond the hand: taken off all samples.

    Attributes
    ----------
    shift, u : what all photos show too much, and its standard uncertainty.
    """

    name: str
    shift: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Masters of a lot and what follows from them.

    Attributes
    ----------
    masters : names of the samples. corrections : lengths first.
    own : standard deviation of a photo's own error of a length, from the masters' disagreement, mm; inf if
        they do not tell.
    """

    masters: tuple[str, ...]
    corrections: tuple[Correction, ...]
    own: float


def _terms(spec: Spec) -> dict[str, Terms]:
    """Return what is a sum of lengths: name -> length -> coefficient."""
    out: dict[str, Terms] = {m.name: m.terms for m in matches_of(spec.mechanism)}
    feet = feet_lengths(spec.mechanism)
    if feet:
        out[FEET] = dict.fromkeys(feet, 1.0)
    return out


def by_hand(name: str, nominal: float, master: Master, spec: Spec) -> HandReading | None:
    """Return the deviation the hand tells of a reading, alone or from the lengths it is made of."""
    if (direct := master.readings.get(name)) is not None:
        return HandReading(direct.value - nominal, direct.u)
    terms = _terms(spec).get(name)
    if terms is None or any(k not in master.readings for k in terms):
        return None
    parts = [(c, master.readings[k]) for k, c in terms.items()]
    value = sum(c * r.value for c, r in parts)
    return HandReading(value - nominal, math.sqrt(sum((c * r.u) ** 2 for c, r in parts)))


def check_masters(masters: Sequence[Master], samples: Collection[str], spec: Spec) -> None:
    """Refuse what does not belong to the lot, before hours of work.

    Raises
    ------
    LotError : a master is none of these samples, is given twice, or has a length that the design has not.
    """
    known = dict.fromkeys([*nominal_lengths(spec), *spec.mechanism.lengths])
    for m in masters:
        if m.sample not in samples:
            told = ", ".join(list(samples)[:MOST_TOLD]) or "none"
            raise LotError(LotOption.MASTER, f": no photo shows a sample {m.sample!r} (samples: {told})")
        unknown = [k for k in m.readings if k not in known]
        if unknown:
            raise LotError(
                LotOption.MASTER,
                f" {m.sample}: the design has no length {unknown[0]!r} (it has: {', '.join(known)})",
            )
    if len({m.sample for m in masters}) < len(masters):
        raise LotError(LotOption.MASTER, ": a sample is given twice")


@dataclass(frozen=True, slots=True, eq=False)
class _Differences:
    """Photo minus hand over the masters, with the photos' own and the hands' standard uncertainties, (k,)."""

    d: Array
    own: Array
    hand: Array

    def mean(self, cap: float) -> tuple[float, float]:
        """Return the weighted mean and its standard uncertainty, the own part at most `cap`."""
        variance = np.minimum(self.own, cap) ** 2 + self.hand**2
        weights = 1 / np.maximum(variance, 1e-12)
        return float(weights @ self.d / weights.sum()), float(1 / np.sqrt(weights.sum()))

    def shift(self, cap: float, common: float) -> tuple[float, float]:
        """Return what is common to all photos and its standard uncertainty.

        Two things are known of it: it was stated to be 0 within `common`, and the masters show the mean. They
        are joined by their weights, so that a comparison never makes less sure.
        """
        mean, u = self.mean(cap)
        share = common**2 / (common**2 + u**2) if common > 0 else 0.0
        return share * mean, math.sqrt(share) * u


def _differences(
    name: str, shown: Sequence[Sample], masters: Sequence[Master], spec: Spec
) -> _Differences | None:
    rows: list[tuple[float, float, float]] = []
    for s, m in zip(shown, masters, strict=True):
        r = s.readings.get(name)
        hand = None if r is None else by_hand(name, r.nominal, m, spec)
        if r is not None and hand is not None:
            rows.append((r.deviation - hand.value, r.own, hand.u))
    return _Differences(*np.array(rows).T) if rows else None


def _own_seen(differences: Sequence[_Differences]) -> float:
    """Return the own part of a length that the masters' disagreement shows, as surely as it does.

    The hand's part is taken out, as far as half of what is seen. The factor brings 95 % of Student's
    distribution to two standard deviations (JCGM 100:2008, G.3).
    """
    freedom = sum(len(x.d) - 1 for x in differences) / ALIKE
    if freedom < LEAST_FREEDOM:
        return math.inf
    square = sum(float(np.sum((x.d - x.d.mean()) ** 2)) for x in differences) / (ALIKE * freedom)
    hand = float(np.mean(np.concatenate([x.hand for x in differences]) ** 2))
    return math.sqrt(max(square - hand, square / 4)) * float(stats.t.ppf(0.975, freedom)) / 2


def _checked(name: str, x: _Differences, common: float, masters: Sequence[Master]) -> None:
    """Refuse a hand that cannot be right if the photos are: a slip of the pen would shift the whole lot."""
    mean, u = x.mean(math.inf)
    if abs(mean) > TOO_FAR * math.hypot(common, u):
        raise LotError(
            LotOption.MASTER,
            f" {', '.join(m.sample for m in masters)}: {name} by hand is {abs(mean):.2f} "
            f"{'shorter' if mean > 0 else 'longer'} than the photo shows, more than both doubts explain; "
            "read it again",
        )
    for d, own, hand in zip(x.d, x.own, x.hand, strict=True):
        if abs(d - mean) > TOO_FAR * math.hypot(own, hand, u):
            raise LotError(
                LotOption.MASTER,
                f": of {name} photo and hand differ by {', '.join(f'{v:+.2f}' for v in x.d)} from master to "
                "master, more than their doubts explain; read it again",
            )


def _corrected(r: Reading, c: Correction, cap: float) -> Reading:
    own = min(r.own, cap)
    return replace(
        r,
        deviation=r.deviation - c.shift,
        u=math.sqrt(own**2 + r.assumed**2 + c.u**2),
        common=c.u,
        alone=tuple(v - c.shift for v in r.alone),
    )


def compare_with(
    samples: Sequence[Sample], masters: Sequence[Master], spec: Spec
) -> tuple[tuple[Sample, ...], Comparison]:
    """Return the samples compared with the masters; of these the hand's reading counts, not the photo's.

    Parameters
    ----------
    samples : with the own and the common part of each reading set apart (`repeatability.set_apart`).
    masters : at least one.

    Raises
    ------
    LotError : a master is not in the lot, a length is not known, or hand and photo cannot both be right.
    """
    by_name = {s.name: s for s in samples if s.readings}
    check_masters(masters, list(by_name), spec)
    shown = [by_name[m.sample] for m in masters]
    found: dict[str, tuple[_Differences, str, float]] = {}
    for name, r in {n: r for s in shown for n, r in s.readings.items()}.items():
        x = _differences(name, shown, masters, spec)
        if x is not None:
            common = float(np.median([s.readings[name].common for s in samples if name in s.readings]))
            if r.kind == "length":
                _checked(name, x, common, masters)
            found[name] = (x, r.kind, common)
    cap = _own_seen([x for x, kind, _ in found.values() if kind == "length"])
    terms = _terms(spec)
    caps = {n: cap * math.sqrt(sum(c * c for c in terms.get(n, {n: 1.0}).values())) for n in found}
    corrections = {}
    for name, (x, _, common) in found.items():
        shift, u = x.shift(caps[name], common)
        corrections[name] = Correction(name=name, shift=shift, u=u)
    out = []
    for s in samples:
        mine = next((m for m in masters if m.sample == s.name), None)
        readings = {}
        for name, r in s.readings.items():
            c = corrections.get(name)
            hand = None if mine is None else by_hand(name, r.nominal, mine, spec)
            if hand is not None:
                readings[name] = replace(r, deviation=hand.value, u=hand.u, common=0.0, assumed=0.0)
            else:
                readings[name] = r if c is None else _corrected(r, c, caps[name])
        out.append(replace(s, readings=readings))
    return tuple(out), Comparison(
        masters=tuple(m.sample for m in masters), corrections=tuple(corrections.values()), own=cap
    )
