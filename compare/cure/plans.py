"""A plan of repair worked out: what is done, and what the dummy keeps then, with uncertainty.

The lengths afterwards are as uncertain as they were measured, those made anew as uncertain as hand work. A
plan is judged by all rules at once (`compare.cure.rules_kept`), also by those that it does not touch.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from capture.arrays import Array
from compare.cause.causes import Cause
from compare.cure.rules_kept import Dummy
from compare.design.craft.bench import Bench
from compare.design.craft.move import Effort, Move, SideEffect
from compare.verdict.conformity import Item
from compare.vocabulary import Told, parsed

WORK_SD: Final = 0.2  # mm, a strip made or moved with care by someone who knows the figure; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One plan and what it leads to.

    Attributes
    ----------
    moves : what to do, in order; () for "leave it".
    leaves : the faults that "leave it" leaves as they are.
    items : all that the dummy must keep, after it, at the opening of the photo, each with its uncertainty.
    probability : that all of it holds: every half level, pairs and sums within what is allowed, nothing
        nearer to a fore edge than asked for, and binding no earlier than ordinary hand work.
    shuts : that it binds no earlier than ordinary hand work, if all else holds.
    effort : of the whole plan.
    """

    moves: tuple[Move, ...]
    leaves: tuple[Cause, ...] = ()
    items: tuple[Item, ...]
    probability: float
    shuts: float
    effort: Effort

    def _told(self, kind: str) -> tuple[Item, ...]:
        return tuple(i for i in self.items if parsed(i.name).told == kind)

    @property
    def leans(self) -> tuple[Item, ...]:
        """Lean of every half after it."""
        return self._told(Told.LEAN)

    @property
    def sums(self) -> tuple[Item, ...]:
        """Sums round the loops after it."""
        return self._told(Told.CLOSING_SUM)

    @property
    def pairs(self) -> tuple[Item, ...]:
        """Matched pairs, and the sums over the two feet of a fold, after it."""
        return self._told("")

    @property
    def clearances(self) -> tuple[Item, ...]:
        """Clearance at each fore edge after it."""
        return self._told(Told.CLEARANCE)

    @property
    def cuts(self) -> bool:
        """True if it needs a knife."""
        return any(m.cuts for m in self.moves)

    @property
    def glues(self) -> bool:
        """True if it needs glue."""
        return any(m.glues for m in self.moves)

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
        return applied(self.moves, lengths)

    @property
    def lean_after_deg(self) -> dict[str, float]:
        """Half -> lean after it, degrees."""
        return {parsed(i.name).about: i.measured for i in self.leans}

    @property
    def closing_after_mm(self) -> dict[str, float]:
        """Loop -> closing sum after it, mm."""
        return {parsed(i.name).about: i.measured for i in self.sums}


def applied(moves: Sequence[Move], lengths: Mapping[str, float]) -> dict[str, float]:
    """Return lengths (mm) after these moves, one after the other, on a dummy with these lengths."""
    out = dict(lengths)
    for m in moves:
        out |= {k: out[k] + v for k, v in m.changes_mm.items() if k in out}
        out |= {k: v for k, v in m.sets_mm.items() if k in out}
    return out


def bench_after(dummy: Dummy, moves: Sequence[Move]) -> Bench:
    """Return the bench with the lengths that were seen, as they are after some moves."""
    values = {k: v for k, v in applied(moves, dummy.lengths).items() if k in dummy.seen}
    return Bench(mechanism=dummy.spec.mechanism, values=values)


def _covariance(dummy: Dummy, moves: Sequence[Move]) -> Array:
    """Return the covariance of all lengths after some moves, mm^2."""
    cov = dummy.cov.copy()
    anew = {k for m in moves for k in m.sets_mm}
    moved = {k for m in moves for k in m.changes_mm}
    for i, k in enumerate(dummy.names):
        if k in anew:
            cov[i, :] = cov[:, i] = 0.0
        if k in anew or k in moved:
            cov[i, i] += WORK_SD**2
    return cov


def effort_of(moves: Sequence[Move]) -> Effort:
    """Return how much work several moves are."""
    hard = max((m.effort for m in moves), default=Effort.NOTHING)
    strips = sum(m.effort >= Effort.STRIP for m in moves)
    return max(hard, Effort.SEVERAL) if strips > 1 else hard


def solved(dummy: Dummy, moves: Sequence[Move], leaves: Sequence[Cause] = ()) -> Remedy:
    """Work out where a plan leads."""
    state = dummy.state(applied(moves, dummy.lengths), _covariance(dummy, moves))
    return Remedy(
        moves=tuple(moves),
        leaves=tuple(leaves),
        items=state.items,
        probability=state.probability,
        shuts=state.shuts,
        effort=effort_of(moves),
    )
