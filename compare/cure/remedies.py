"""What to do: plans made of moves of the trade, each solved again in the linkage, and ranked.

A plan is good if afterwards the dummy keeps all rules (`compare.cure.rules_kept`). Among plans that are
likely to do, the one with the least work comes first. Nobody moves anything by less than a hand can, and
nobody mends a thing in more than a few steps: then it is built anew.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.cause.causes import Cause
from compare.cure.dummy_as_known import dummy_of
from compare.cure.moves import feet_moves, match_moves, measuring_moves, moves_for
from compare.cure.plans import Remedy, applied, bench_after, solved
from compare.cure.rules_kept import Dummy
from compare.design.craft.move import Effort, Move, MoveKind, SideEffect, SideEffectKind
from compare.design.spec.spec import Spec
from compare.quantities.measured import Measured
from compare.verdict.conformity import Item, Verdict
from compare.verdict.shut_reach import closed_chains
from compare.vocabulary import Kind, Told, parsed


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanNumbers:
    """What makes a plan worth telling; found by `tests/benchmarks/bench_repairs.py`.

    Attributes
    ----------
    even : a plan less likely to do than this is never told as the thing to do.
    likely : one this likely, compared with the best to be had, is good enough: the least work decides.
    gain : a further step must raise the probability by so much.
    clear : a clearance less likely to hold than this is worth trimming for.
    steps : moves of one plan at most.
    plans : combinations of moves looked at.
    shown : plans told.
    """

    even: float = 0.5
    likely: float = 0.75
    gain: float = 0.05
    clear: float = 0.9
    steps: int = 3
    plans: int = 8
    shown: int = 3


NUMBERS: Final = PlanNumbers()


def _worth(move: Move, hand: float) -> bool:
    """Return whether a hand can make a move so small."""
    return move.kind in (MoveKind.TRIM_CLEAR, MoveKind.FEET_MEASURED) or abs(move.by_mm) >= hand


def _matched(cause: Cause, dummy: Dummy) -> bool:
    """Return whether a fault is mended by matching a length to another, which then must be right already."""
    return any(cause.fault.name == p.first for p in dummy.spec.mechanism.pairs)


def _sequences(dummy: Dummy, causes: Sequence[Cause]) -> list[list[Move]]:
    """Return ways to take out all faults, one after the other."""
    makers, hand = dummy.spec.building.makers(), dummy.spec.tolerance.hand
    plans: list[list[Move]] = [[]]
    for cause in sorted(causes, key=lambda c: _matched(c, dummy)):
        grown: list[list[Move]] = []
        for done in plans:
            options = moves_for(makers, bench_after(dummy, done), cause)
            worth = [m for m in options if _worth(m, hand)]
            grown += [[*done, m] for m in worth] if worth else [done]
        plans = grown[: NUMBERS.plans]
    return [p for p in plans if p]


def _trims(dummy: Dummy, plan: Remedy) -> list[Move]:
    """Return what to trim off the plane so that nothing sticks out after a plan."""
    values = applied(plan.moves, dummy.lengths)
    out: list[Move] = []
    for item in plan.clearances:
        n = parsed(item.name)
        least = item.nominal + item.low
        chains = closed_chains(dummy.spec, n.side)
        edge = max(chains, key=lambda r: float(r.total(values))).lengths[-1]
        strip = parsed(edge)
        cut = float(np.ceil((least + item.expanded - item.measured) * 2) / 2)  # in halves of a millimetre
        if strip.kind != Kind.PLANE or strip.other(Kind.STRAP) in values or cut <= 0:
            continue
        glued = [values[k] for k in values if parsed(k).kind == Kind.PLANE_SPACING and _same(k, edge)]
        if values[edge] - cut < max(glued, default=0.0):
            continue
        out.append(
            Move(
                kind=MoveKind.TRIM_CLEAR,
                part=edge,
                by_mm=cut,
                to_mm=item.measured + cut,
                expanded_mm=item.expanded,
                changes_mm={edge: -cut},
                cuts=True,
                effort=Effort.TRIM,
                side_effects=(SideEffect(SideEffectKind.NARROWER, edge, cut),),
            )
        )
    return out


def _same(one: str, other: str) -> bool:
    a, b = parsed(one), parsed(other)
    return (a.stage, a.side) == (b.stage, b.side)


def _touched(moves: Sequence[Move]) -> set[str]:
    return {k for m in moves for k in (*m.changes_mm, *m.sets_mm)}


def _bettered(dummy: Dummy, plan: Remedy, enough: float, assumed: Sequence[str]) -> Remedy:
    """Return a plan with the further moves that help most, while there is need and room for them."""
    makers, hand = dummy.spec.building.makers(), dummy.spec.tolerance.hand
    while plan.probability < enough and len(plan.moves) < NUMBERS.steps:
        bench = bench_after(dummy, plan.moves)
        unsure = [i for i in plan.clearances if i.probability < NUMBERS.clear]
        more = [m for m in _trims(dummy, plan) if any(_reaches(dummy, i, m) for i in unsure)]
        known = {i.name: i.expanded for i in plan.items}
        for rule, move in match_moves(makers, bench) + feet_moves(makers, bench, assumed):
            more += [move] if abs(move.by_mm) > known.get(rule, 0.0) else []  # else it may be noise
        more += measuring_moves(bench, assumed)
        done = _touched(plan.moves)
        more = [m for m in more if _worth(m, hand) and not done & {*m.changes_mm, *m.sets_mm}]
        trials = [solved(dummy, _in_order([*plan.moves, m])) for m in more]
        best = max(trials, key=lambda r: r.probability, default=plan)
        if best.probability < plan.probability + NUMBERS.gain:
            break
        plan = best
    return plan


def _in_order(moves: Sequence[Move]) -> list[Move]:
    """Return moves in the order they are done: measuring before anything is glued."""
    return sorted(moves, key=lambda m: m.kind is not MoveKind.FEET_MEASURED)


def _reaches(dummy: Dummy, item: Item, move: Move) -> bool:
    return any(move.part in r.lengths for r in closed_chains(dummy.spec, parsed(item.name).side))


def _leave_it(dummy: Dummy, causes: Sequence[Cause]) -> Remedy | None:
    """Return "leave it" if nothing but lengths is wrong with the dummy."""
    failing = [i for i in dummy.demands if i.name in dummy.now and dummy.now[i.name].verdict is Verdict.FAILS]
    leans = [i for i in dummy.now if parsed(i).told == Told.LEAN]
    if failing or not leans:
        return None
    plan = solved(dummy, (), causes)
    return plan if plan.probability >= NUMBERS.even else None


def _anew(dummy: Dummy) -> list[Remedy]:
    """Return the plans to build one stage, or all, as designed."""
    lengths = dummy.spec.mechanism.lengths
    out = []
    nominal = {k: float(lengths[k]) for k in dummy.names if not parsed(k).is_page}
    stages = sorted({parsed(k).stage for k in nominal})
    for stage in stages if len(stages) > 1 else []:
        own = {k: v for k, v in nominal.items() if parsed(k).stage == stage}
        kind, effort = MoveKind.REBUILD_STAGE, Effort.SEVERAL
        out.append(Move(kind=kind, stage=stage, sets_mm=own, cuts=True, effort=effort))
    out.append(Move(kind=MoveKind.REBUILD, sets_mm=nominal, cuts=True, effort=Effort.REBUILD))
    return [solved(dummy, (m,)) for m in out]


def _enough(measured: Measured, spec: Spec) -> float:
    """Return how likely a plan must be to be good enough.

    Compared with a dummy that has no fault and is measured as nominal: what a photo does not tell of that
    one, no repair of a strip can better.
    """
    dummy = dummy_of(measured, spec, {}, (), {})
    nominal = spec.mechanism.lengths
    state = dummy.state({k: nominal[k] for k in dummy.names}, dummy.cov)
    return max(NUMBERS.likely * state.probability, NUMBERS.even)


def _rank(plan: Remedy, enough: float) -> tuple[bool, int, int, int, float]:
    """Order plans: likely to do, least work, fewest steps and side effects, likeliest."""
    good = plan.probability >= enough
    return (
        not good,
        int(plan.effort) if good else 0,
        len(plan.moves),
        len(plan.side_effects),
        -plan.probability,
    )


def remedies_for(
    causes: Sequence[Cause],
    measured: Measured,
    spec: Spec,
    items: Sequence[Item],
    unexplained: Mapping[str, float],
) -> tuple[Remedy, ...]:
    """Plans that cure the named causes (or, without one, what small errors add up to), best first.

    Parameters
    ----------
    causes : the faults to cure.
    items : what was compared, with verdicts: what must be cured, and the limits afterwards.
    unexplained : lean -> degrees of it that no length explains, so no repair of a length cures.
    """
    dummy = dummy_of(measured, spec, {i.name: i for i in items}, causes, unexplained)
    enough = _enough(measured, spec)
    assumed = tuple(measured.assumed)
    tried = [solved(dummy, moves) for moves in _sequences(dummy, causes) if len(moves) <= NUMBERS.steps]
    plans = [_bettered(dummy, p, enough, assumed) for p in tried or [solved(dummy, ())]]
    plans = [p for p in plans if p.moves]
    leave = _leave_it(dummy, causes)
    plans += [leave] if leave is not None else []
    if not any(p.probability >= enough for p in plans):
        plans += [p for p in _anew(dummy) if p.probability >= NUMBERS.even]
    unlike = {_key(p): p for p in sorted(plans, key=lambda p: _rank(p, enough), reverse=True)}
    ranked = sorted(unlike.values(), key=lambda p: _rank(p, enough))
    if not any(p.probability >= NUMBERS.even for p in ranked):
        return ()
    return tuple(ranked[: NUMBERS.shown])


def _key(plan: Remedy) -> tuple[tuple[MoveKind, str, int, str], ...]:
    return tuple((m.kind, m.part, m.stage, m.side) for m in plan.moves)
