"""A plan of repair worked out: what is done, and where leans, sums and clearances then are, with uncertainty.

The lengths afterwards are as uncertain as they were measured, those made anew as uncertain as hand work; the
first-order rates of the linkage carry that to leans, sums and clearances (JCGM 100:2008, 5.2.2).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.cause.causes import Cause
from compare.cause.lean import lean_of
from compare.cause.linkage_lean import governing_lengths, lean_rates
from compare.design.craft.bench import Bench
from compare.design.craft.move import Effort, Move, SideEffect
from compare.design.spec.spec import Spec
from compare.verdict.conformity import Item, Verdict
from compare.verdict.matched_pairs import matches_of
from compare.vocabulary import Kind, Told, named, parsed, told_of
from measure.sides import SIDES

WORK_SD: Final = 0.2  # mm, a strip made or moved with care by someone who knows the figure; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One plan and what it leads to.

    Attributes
    ----------
    moves : what to do, in order; () for "leave it".
    leaves : the faults that "leave it" leaves as they are.
    leans, sums, clearances : items after it, at the opening of the photo, each with its uncertainty.
    probability : that all of these that the plan touches lie within their tolerances.
    effort : of the whole plan.
    """

    moves: tuple[Move, ...]
    leaves: tuple[Cause, ...] = ()
    leans: tuple[Item, ...]
    sums: tuple[Item, ...]
    clearances: tuple[Item, ...]
    probability: float
    effort: Effort

    @property
    def cuts(self) -> bool:
        """True if it needs a knife."""
        return any(m.cuts for m in self.moves)

    @property
    def side_effects(self) -> tuple[SideEffect, ...]:
        """What else changes."""
        return tuple(dict.fromkeys(s for m in self.moves for s in m.side_effects))

    @property
    def changes_mm(self) -> dict[str, float]:
        """Length -> change from where it is, for lengths that are moved or trimmed."""
        out: dict[str, float] = {}
        for m in self.moves:
            for k, v in m.changes_mm.items():
                out[k] = out.get(k, 0.0) + v
        return out

    @property
    def sets_mm(self) -> dict[str, float]:
        """Length -> what it is made anew."""
        return {k: v for m in self.moves for k, v in m.sets_mm.items()}

    def applied(self, lengths: Mapping[str, float]) -> dict[str, float]:
        """Return lengths (mm) after the plan is carried out on a dummy with these lengths."""
        changes, sets = self.changes_mm, self.sets_mm
        return {k: sets.get(k, v + changes.get(k, 0.0)) for k, v in lengths.items()}

    @property
    def lean_after_deg(self) -> dict[str, float]:
        """Half -> lean after it, degrees."""
        return {parsed(i.name).about: i.measured for i in self.leans}

    @property
    def closing_after_mm(self) -> dict[str, float]:
        """Loop -> closing sum after it, mm."""
        return {parsed(i.name).about: i.measured for i in self.sums}


@dataclass(frozen=True, slots=True, eq=False)
class Dummy:
    """All lengths known of the dummy, with their joint covariance."""

    spec: Spec
    names: tuple[str, ...]
    values: Array
    cov: Array
    phi: float
    now: Mapping[str, Item]

    def bench(self, after: Mapping[str, float] | None = None) -> Bench:
        """Return the bench with the lengths as they are, or as they are after something was done."""
        values = dict(zip(self.names, self.values.tolist(), strict=True)) | dict(after or {})
        return Bench(mechanism=self.spec.mechanism, values=values)


def _u(g: Mapping[str, float], names: Sequence[str], cov: Array) -> float:
    row = np.array([g.get(k, 0.0) for k in names])
    return float(np.sqrt(max(float(row @ cov @ row), 0.0)))


def solved(dummy: Dummy, moves: Sequence[Move], effort: Effort) -> Remedy:
    """Work out where a plan leads."""
    plan = Remedy(moves=tuple(moves), leans=(), sums=(), clearances=(), probability=0.0, effort=effort)
    values = dict(zip(dummy.names, dummy.values.tolist(), strict=True))
    after = plan.applied(values)
    cov = dummy.cov.copy()
    for i, k in enumerate(dummy.names):
        if k in plan.sets_mm:
            cov[i, :] = cov[:, i] = 0.0
        if k in plan.sets_mm or k in plan.changes_mm:
            cov[i, i] += WORK_SD**2
    mechanism = dummy.spec.mechanism
    leans: list[Item] = []
    for half in mechanism.halves:
        names = governing_lengths(mechanism, half.name)
        was = dummy.now.get(told_of(Told.LEAN, half.name))
        if was is None or any(k not in after for k in names):
            continue
        then = {k: after[k] for k in names}
        rates = lean_rates(mechanism, then, dummy.phi, half.name)
        lean = lean_of(mechanism, then, dummy.phi, half.name)
        u = _u({k: np.degrees(rates[k]) for k in names}, dummy.names, cov)
        leans.append(replace(was, measured=lean, u=u))
    sums: list[Item] = []
    for match in matches_of(mechanism):
        if match.sums is not None and match.name in dummy.now:
            value = sum(after[k] * c for k, c in match.terms.items())
            sums.append(replace(dummy.now[match.name], measured=value, u=_u(match.terms, dummy.names, cov)))
    clearances = _clearances(dummy, after, cov)
    items = [*leans, *sums, *clearances]
    touched = [i for i in items if _touched(i, dummy.now[i.name])]
    probability = float(np.prod([i.probability if np.isfinite(i.measured) else 0.0 for i in touched]))
    return replace(
        plan,
        leans=tuple(leans),
        sums=tuple(sums),
        clearances=tuple(clearances),
        probability=probability,
    )


def _touched(after: Item, before: Item) -> bool:
    """Return whether a plan changes this item, or should have."""
    return before.verdict is Verdict.FAILS or abs(after.measured - before.measured) > 1e-6


def _clearances(dummy: Dummy, after: Mapping[str, float], cov: Array) -> list[Item]:
    """Clearance at each fore edge after a plan."""
    out: list[Item] = []
    for side in SIDES:
        was = dummy.now.get(told_of(Told.CLEARANCE, side))
        chains = [r.lengths for r in dummy.spec.mechanism.reaches if r.side == side]
        chains = [c for c in chains if all(k in after for k in c)]
        if was is None or not chains:
            continue
        farthest = max(chains, key=lambda c: sum(after[k] for k in c))
        terms = {named(Kind.PAGE, side): 1.0, **dict.fromkeys(farthest, -1.0)}
        value = sum(after[k] * c for k, c in terms.items())
        out.append(replace(was, measured=value, u=_u(terms, dummy.names, cov)))
    return out
