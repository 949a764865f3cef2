"""What to do: plans made of moves of the trade, each solved again in the linkage, and ranked.

A plan is good if afterwards every half is level, every loop closes and no card sticks out, within the
tolerances. The lengths afterwards are as uncertain as they were measured, those made anew as uncertain as
hand work; the first-order rates of the linkage carry that to leans, sums and clearances (JCGM 100:2008,
5.2.2). Among plans that are likely to do, the one with the least work comes first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from compare.causes import Cause
from compare.conformity import Item, Verdict
from compare.design.spec import Spec
from compare.lean import lean_of
from compare.measured import Measured, governing_lengths, lean_rates
from compare.moves import Bench, Effort, Move, match_moves, moves_for
from compare.names import called, parsed
from compare.pairs import matches_of
from compare.units import unit_of

Array = NDArray[np.float64]

KNIFE: Final = (
    "Knife: cut on a mat against a safety straightedge, the holding hand behind the blade, a fresh blade, "
    "retracted when put down."
)
CHILDREN: Final = (
    "For products meant for children follow the local toy-safety rules and have them tested by a licensed "
    "laboratory."
)
WORK_SD: Final = 0.2  # mm, a strip made or moved with care by someone who knows the figure; common practice
HARDLY: Final = 0.1
EVEN: Final = 0.5
LIKELY: Final = 0.8  # a plan this likely to bring all inside tolerance is one to recommend
MOST_PLANS: Final = 12
SHOWN: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One plan and what it leads to.

    Attributes
    ----------
    moves : what to do, in order; () for "leave it".
    text : the same in one paragraph.
    leans, sums, clearances : items after it, at the opening of the photo, each with its uncertainty.
    probability : that all of these that the plan touches lie within their tolerances.
    effort : of the whole plan.
    """

    moves: tuple[Move, ...]
    text: str
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
    def side_effects(self) -> tuple[str, ...]:
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
        return {i.name.removeprefix("lean "): i.measured for i in self.leans}

    @property
    def closing_after_mm(self) -> dict[str, float]:
        """Loop -> closing sum after it, mm."""
        return {i.name.removeprefix("closing sum "): i.measured for i in self.sums}


@dataclass(frozen=True, slots=True, eq=False)
class _Dummy:
    """All lengths known of the dummy, with their joint covariance."""

    spec: Spec
    names: tuple[str, ...]
    values: Array
    cov: Array
    phi: float
    now: Mapping[str, Item]

    def bench(self, after: Mapping[str, float] | None = None) -> Bench:
        values = dict(zip(self.names, self.values.tolist(), strict=True)) | dict(after or {})
        return Bench(mechanism=self.spec.mechanism, values=values, unit=unit_of(self.spec.units))


def _u(g: Mapping[str, float], names: Sequence[str], cov: Array) -> float:
    row = np.array([g.get(k, 0.0) for k in names])
    return float(np.sqrt(max(float(row @ cov @ row), 0.0)))


def _solved(dummy: _Dummy, moves: Sequence[Move], text: str, effort: Effort) -> Remedy:
    """Work out where a plan leads."""
    plan = Remedy(
        moves=tuple(moves), text=text, leans=(), sums=(), clearances=(), probability=0.0, effort=effort
    )
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
        was = dummy.now.get(f"lean {half.name}")
        if was is None or any(k not in after for k in names):
            continue
        then = {k: after[k] for k in names}
        rates = lean_rates(mechanism, then, dummy.phi, half.name)
        lean = lean_of(mechanism, then, dummy.phi, half.name)
        u = _u({k: np.degrees(rates[k]) for k in names}, dummy.names, cov)
        leans.append(replace(was, measured=lean, u=u))
    sums: list[Item] = []
    for match in matches_of(mechanism):
        if match.words and match.name in dummy.now:
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


def _clearances(dummy: _Dummy, after: Mapping[str, float], cov: Array) -> list[Item]:
    """Clearance at each fore edge after a plan."""
    out: list[Item] = []
    for side in ("left", "right"):
        was = dummy.now.get(f"clearance {side}")
        chains = [r.lengths for r in dummy.spec.mechanism.reaches if r.side == side]
        chains = [c for c in chains if all(k in after for k in c)]
        if was is None or not chains:
            continue
        farthest = max(chains, key=lambda c: sum(after[k] for k in c))
        terms = {f"page {side}": 1.0, **dict.fromkeys(farthest, -1.0)}
        value = sum(after[k] * c for k, c in terms.items())
        out.append(replace(was, measured=value, u=_u(terms, dummy.names, cov)))
    return out


def _trims(dummy: _Dummy, plan: Remedy) -> list[Move]:
    """Return what to trim off the plane so that nothing sticks out after a plan."""
    values = plan.applied(dict(zip(dummy.names, dummy.values.tolist(), strict=True)))
    bench = dummy.bench(values)
    out: list[Move] = []
    for item in plan.clearances:
        side = item.name.split()[-1]
        least = item.nominal + item.low
        failing = Verdict.FAILS in (item.verdict, dummy.now[item.name].verdict)
        if not failing or item.verdict is Verdict.CONFORMS:
            continue
        chains = [r for r in dummy.spec.mechanism.reaches if r.side == side]
        chains = [r for r in chains if all(k in values for k in r.lengths)]
        farthest = max(chains, key=lambda r: sum(values[k] for k in r.lengths))
        edge = farthest.lengths[-1]
        n = parsed(edge)
        if n.kind != "plane" or n.other("strap") in values:
            continue
        cut = np.ceil((least + item.expanded - item.measured) * 2) / 2  # in halves of a millimetre
        glued = [k for k in values if parsed(k).kind == "plane spacing" and parsed(k).prefix == n.prefix]
        spacing = [values[k] for k in glued if parsed(k).side == side]
        if values[edge] - cut < max(spacing, default=0.0):
            continue
        then = bench.show(item.measured + cut)
        out.append(
            Move(
                text=f"Trim {bench.show(cut)} off the outer edge of {called(edge)}: shut, it then stays "
                f"{then} (± {bench.show(item.expanded)}) inside the fore edge.",
                changes_mm={edge: -float(cut)},
                cuts=True,
                effort=Effort.TRIM,
                side_effects=(f"{called(edge)} becomes {bench.show(cut)} narrower",),
            )
        )
    return out


def _plan(dummy: _Dummy, moves: Sequence[Move]) -> Remedy:
    """Return a plan of these moves, with the trimming it still needs."""
    plan = _solved(dummy, moves, "", Effort.NOTHING)
    extra = (
        [] if any(set(m.changes_mm) & {"plane left", "plane right"} for m in moves) else _trims(dummy, plan)
    )
    whole = [*moves, *extra]
    text = " ".join(_as_sentence(m.text, first=i == 0) for i, m in enumerate(whole))
    hard = max((m.effort for m in whole), default=Effort.NOTHING)
    strips = sum(m.effort >= Effort.STRIP for m in whole)
    return _solved(dummy, whole, text, max(hard, Effort.SEVERAL) if strips > 1 else hard)


def _as_sentence(text: str, *, first: bool) -> str:
    """Drop a leading "Or" from the first move: it stands alone then."""
    if first and text.startswith("Or "):
        text = text[3:]
        return text[0].upper() + text[1:]
    return text


def _leave_it(dummy: _Dummy, causes: Sequence[Cause]) -> Remedy | None:
    """Return "leave it" if level, sums and clearances are all right as they are."""
    plan = _solved(dummy, (), "", Effort.NOTHING)
    watched = [v for k, v in dummy.now.items() if k.startswith(("lean", "closing", "clearance"))]
    if not plan.leans or any(i.verdict is Verdict.FAILS for i in watched):
        return None
    if any(i.verdict is not Verdict.CONFORMS for i in watched if not i.name.startswith("clearance")):
        return None
    blamed = {k for c in causes for k in c.fault.pattern}
    unknown = [m for m in matches_of(dummy.spec.mechanism) if m.name not in dummy.now]
    if any(blamed & set(m.terms) for m in unknown):
        return None  # a sum that the fault may spoil was not seen
    off = " and ".join(c.sentence(unit_of(dummy.spec.units)) for c in causes)
    text = "Leave it, if looks allow: it stands level and its sums close" + (
        f"; it is only that {off}." if off else "; only a length differs from the design."
    )
    return replace(plan, text=text, probability=1.0)


def _rebuild(dummy: _Dummy) -> Remedy:
    """Return the plan to build everything anew as designed."""
    bench = dummy.bench()
    nominal = {k: bench.nominal(k) for k in dummy.names if not k.startswith("page ") or "spacing" in k}
    listed = ", ".join(f"{k} {bench.show(v)}" for k, v in nominal.items())
    move = Move(
        text=f"Build it anew with the lengths of the design: {listed}.",
        sets_mm=nominal,
        cuts=True,
        effort=Effort.REBUILD,
    )
    return _solved(dummy, (move,), move.text, Effort.REBUILD)


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
    dummy = _Dummy(
        spec=spec,
        names=names,
        values=np.array([measured.working[k].value for k in names]),
        cov=measured.inputs.covariance([measured.working[k] for k in names]),
        phi=measured.opening.value,
        now={i.name: i for i in items},
    )
    bench = dummy.bench()
    options = [moves for moves in (moves_for(bench, c) for c in causes) if moves]
    plans = [_plan(dummy, moves) for moves in list(product(*options))[:MOST_PLANS]] if options else []
    tilted = [
        i.name.removeprefix("lean ")
        for i in items
        if i.name.startswith("lean") and i.verdict is Verdict.FAILS
    ]
    if not any(p.probability >= LIKELY for p in plans) and tilted:
        found = {m.text: m for half in tilted for m in match_moves(bench, half)}
        matching = [_plan(dummy, [m]) for m in found.values()]
        if len(found) > 1:
            matching.append(_plan(dummy, list(found.values())))
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
