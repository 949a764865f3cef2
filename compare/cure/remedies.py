"""What to do: plans made of moves of the trade, each solved again in the linkage, and ranked.

A plan is good if afterwards every half is level, every loop closes and no card sticks out, within the
tolerances (`compare.cure.plans`). Among plans that are likely to do, the one with the least work comes first.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np

from compare.cause.causes import Cause
from compare.cure.moves import match_moves, moves_for
from compare.cure.plans import Dummy, Remedy, solved
from compare.design.craft.move import Effort, Move, MoveKind, SideEffect, SideEffectKind
from compare.design.spec.spec import Spec
from compare.quantities.measured import Measured
from compare.verdict.conformity import Item, Verdict
from compare.verdict.matched_pairs import matches_of
from compare.vocabulary import Kind, Told, named, parsed
from measure.sides import SIDES

HARDLY: Final = 0.1
EVEN: Final = 0.5
LIKELY: Final = 0.8  # a plan this likely to bring all inside tolerance is one to recommend
MOST_PLANS: Final = 12
SHOWN: Final = 4


def _trims(dummy: Dummy, plan: Remedy) -> list[Move]:
    """Return what to trim off the plane so that nothing sticks out after a plan."""
    values = plan.applied(dict(zip(dummy.names, dummy.values.tolist(), strict=True)))
    out: list[Move] = []
    for item in plan.clearances:
        side = parsed(item.name).side
        least = item.nominal + item.low
        failing = Verdict.FAILS in (item.verdict, dummy.now[item.name].verdict)
        if not failing or item.verdict is Verdict.CONFORMS:
            continue
        chains = [r for r in dummy.spec.mechanism.reaches if r.side == side]
        chains = [r for r in chains if all(k in values for k in r.lengths)]
        farthest = max(chains, key=lambda r: sum(values[k] for k in r.lengths))
        edge = farthest.lengths[-1]
        n = parsed(edge)
        if n.kind != Kind.PLANE or n.other(Kind.STRAP) in values:
            continue
        cut = float(np.ceil((least + item.expanded - item.measured) * 2) / 2)  # in halves of a millimetre
        glued = [k for k in values if parsed(k).kind == Kind.PLANE_SPACING and parsed(k).stage == n.stage]
        spacing = [values[k] for k in glued if parsed(k).side == side]
        if values[edge] - cut < max(spacing, default=0.0):
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


def _plan(dummy: Dummy, moves: Sequence[Move]) -> Remedy:
    """Return a plan of these moves, with the trimming it still needs."""
    plan = solved(dummy, moves, Effort.NOTHING)
    planes = {named(Kind.PLANE, s) for s in SIDES}
    extra = [] if any(set(m.changes_mm) & planes for m in moves) else _trims(dummy, plan)
    whole = [*moves, *extra]
    hard = max((m.effort for m in whole), default=Effort.NOTHING)
    strips = sum(m.effort >= Effort.STRIP for m in whole)
    return solved(dummy, whole, max(hard, Effort.SEVERAL) if strips > 1 else hard)


def _leave_it(dummy: Dummy, causes: Sequence[Cause]) -> Remedy | None:
    """Return "leave it" if level, sums and clearances are all right as they are."""
    plan = solved(dummy, (), Effort.NOTHING)
    watched = [v for k, v in dummy.now.items() if parsed(k).told]
    if not plan.leans or any(i.verdict is Verdict.FAILS for i in watched):
        return None
    if any(i.verdict is not Verdict.CONFORMS for i in watched if parsed(i.name).told != Told.CLEARANCE):
        return None
    blamed = {k for c in causes for k in c.fault.pattern}
    unknown = [m for m in matches_of(dummy.spec.mechanism) if m.name not in dummy.now]
    if any(blamed & set(m.terms) for m in unknown):
        return None  # a sum that the fault may spoil was not seen
    return replace(plan, leaves=tuple(causes), probability=1.0)


def _rebuild(dummy: Dummy) -> Remedy:
    """Return the plan to build everything anew as designed."""
    bench = dummy.bench()
    nominal = {k: bench.nominal(k) for k in dummy.names if not parsed(k).is_page}
    move = Move(kind=MoveKind.REBUILD, sets_mm=nominal, cuts=True, effort=Effort.REBUILD)
    return solved(dummy, (move,), Effort.REBUILD)


def _rank(plan: Remedy) -> tuple[bool, int, int, float]:
    """Order plans: likely to do, least work, fewest side effects, likeliest."""
    likely = plan.probability >= LIKELY
    return not likely, int(plan.effort) if likely else 0, len(plan.side_effects), -plan.probability


def remedies_for(
    causes: Sequence[Cause], measured: Measured, spec: Spec, items: Sequence[Item]
) -> tuple[Remedy, ...]:
    """Plans that cure the named causes (or, without one, a lean that small errors add up to), best first.

    Parameters
    ----------
    causes : the faults to cure.
    items : what was compared, with verdicts: what must be cured, and the limits afterwards.
    """
    names = tuple(k for k in spec.mechanism.lengths if k in measured.working)
    dummy = Dummy(
        spec=spec,
        names=names,
        values=np.array([measured.working[k].value for k in names]),
        cov=measured.inputs.covariance([measured.working[k] for k in names]),
        phi=measured.opening.value,
        now={i.name: i for i in items},
    )
    bench, makers = dummy.bench(), spec.building.makers()
    options = [moves for moves in (moves_for(makers, bench, c) for c in causes) if moves]
    plans = [_plan(dummy, moves) for moves in list(product(*options))[:MOST_PLANS]] if options else []
    tilted = [
        parsed(i.name).about for i in items if parsed(i.name).told == Told.LEAN and i.verdict is Verdict.FAILS
    ]
    if not any(p.probability >= LIKELY for p in plans) and tilted:
        found: list[Move] = []
        for half in tilted:
            found += [m for m in match_moves(makers, bench, half) if m not in found]
        matching = [_plan(dummy, [m]) for m in found]
        if len(found) > 1:
            matching.append(_plan(dummy, found))
        plans += [p for p in matching if p.probability >= HARDLY]
    if not plans:
        only_trim = _plan(dummy, ())
        plans = [only_trim] if only_trim.moves else []
    leave = _leave_it(dummy, causes)
    if leave is not None:
        plans.append(leave)
    if not any(p.probability >= EVEN for p in plans):
        anew = _rebuild(dummy)
        plans += [anew] if anew.probability >= EVEN else []
    plans.sort(key=_rank)
    return tuple(plans[:SHOWN])
