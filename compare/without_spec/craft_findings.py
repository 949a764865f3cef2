"""A dummy without a design judged by the rules of the craft: what agrees, what leans, what is the odd one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.design.spec.parts import Tolerance
from compare.quantities.quantity import Quantity
from compare.verdict.conformity import COVERAGE, Item, Rule, Verdict, overall
from compare.vocabulary import Told, parsed, told_of
from compare.without_spec.craft_repairs import Mend, ModelLean, mends_of, model_lean
from compare.without_spec.craft_rules import As, Leg, Pair, Sum, feet_sum_of, legs_of
from compare.without_spec.traced_lengths import TracedLengths
from measure.sides import SIDES
from measure.tracing.trace_dummy import Traced

DEG: Final = float(np.degrees(1.0))
UPPER: Final = "upper stages"
HAND_WORK_MM: Final = 5.0
"""No pair is cut or glued wrong by more: what differs more was meant so, or is something else. Faults of some
millimetres are common; common practice, no source."""
HAND_LOOP_MM: Final = 2.5
"""Where both pairs of a loop fail, its sums are off by no more: two faults in one loop are seldom, and what
belongs to a flap looks so when taken for a leg. Common practice, no source."""
ALIKE_SHARE: Final = 0.12
"""Left and right that differ by more were hardly meant alike; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairFound:
    """Two lengths that must be equal, compared.

    Attributes
    ----------
    pair : which.
    item : first minus second, mm, against the limit of matched lengths.
    odd : the one of the two that differs from what else should be as long; "" if that does not tell.
    agreeing : the lengths that agree with each other and not with it.
    mends : both ways to make them equal, the likelier first.
    """

    pair: Pair
    item: Item
    odd: str
    agreeing: tuple[str, ...]
    mends: tuple[Mend, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfLean:
    """Lean of one half of the plane.

    Attributes
    ----------
    side : which half.
    item : lean, degrees, + = outer edge too high, against the level asked for.
    made : rule -> degrees of the lean that this pair's difference makes.
    """

    side: str
    item: Item
    made: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CraftFindings:
    """What the rules of the craft say of one dummy.

    Attributes
    ----------
    taken_for : the construction whose rules were asked.
    pairs, sums, leans : compared with their limits; an oblique plane has no pairs and no level.
    mirrors : lengths on the left against those on the right, mm; they carry no verdict.
    alike : whether left and right seem to have been meant alike.
    strange : pairs and sums that are off by more than hand work goes wrong: their halves are not judged.
    unseen : rules and halves of which the photo does not show enough.
    verdict : over all that was compared; what was not seen cannot be called good.
    """

    taken_for: As
    pairs: tuple[PairFound, ...]
    sums: tuple[Item, ...]
    leans: tuple[HalfLean, ...]
    mirrors: tuple[Item, ...]
    alike: bool
    strange: tuple[Item, ...]
    unseen: tuple[str, ...]
    verdict: Verdict

    @property
    def items(self) -> tuple[Item, ...]:
        """All that carries a verdict."""
        return (*(p.item for p in self.pairs), *(n.item for n in self.leans), *self.sums)

    @property
    def cuts(self) -> bool:
        """Whether a way to mend it wants a knife."""
        return any(m.cuts for p in self.pairs for m in p.mends)


def judge_by_craft(
    traced: Traced,
    measured: TracedLengths,
    *,
    taken_for: As = As.PARALLEL_FOLD,
    tolerance: Tolerance,
    rule: Rule = Rule.GUARDED,
) -> CraftFindings:
    """Judge a dummy by the rules of the craft.

    Parameters
    ----------
    traced, measured : topology, and what was measured of it.
    taken_for : an oblique plane only has to shut; a parallel one must lie level as well.
    tolerance : limits of matched lengths and of the level.
    """
    legs = legs_of(traced)
    parallel = taken_for is As.PARALLEL_FOLD
    limit = tolerance.matched
    mirrors = _mirrors(measured)
    alike = _meant_alike(mirrors, limit)
    unseen = [told_of(Told.LEAN, s) for s in SIDES if told_of(Told.LEAN, s) not in measured.angles]
    if traced.upper:
        unseen.append(UPPER)
    sums: list[Item] = []
    for total in (*(leg.loop for leg in legs), feet_sum_of()):
        q = _total(total, measured)
        # A mark puts the spine too roughly to say this of a good dummy; it is told where it is sure.
        rough = q is not None and total.name == feet_sum_of().name and _too_rough(q, measured, 2 * limit)
        if q is None or rough:
            unseen.append(total.name)
        else:
            sums.append(_item(total.name, "mm", q, measured, 2 * limit, rule))
    pairs: list[PairFound] = []
    for leg in legs if parallel else ():
        lean = model_lean(leg, measured)
        for pair in leg.pairs:
            if pair.first in measured.lengths and pair.second in measured.lengths:
                pairs.append(_pair(pair, leg, measured, lean, alike=alike, limit=limit, rule=rule))
            else:
                unseen.append(pair.name)
    leans = _leans(legs, measured, tolerance.level_deg, rule) if parallel else ()
    strange = [p.item for p in pairs if abs(p.item.measured) - p.item.expanded > HAND_WORK_MM]
    strange += _strange_loops(legs, pairs, sums)
    odd_sides = {parsed(i.name).side for i in strange}
    pairs = [p for p in pairs if parsed(p.item.name).side not in odd_sides]
    leans = tuple(n for n in leans if n.side not in odd_sides)
    if odd_sides:
        sums = [i for i in sums if parsed(i.name).side not in odd_sides]
    verdict = overall(i.verdict for i in (*(p.item for p in pairs), *sums, *(n.item for n in leans)))
    halves = {leg.side for leg in legs}
    if verdict is Verdict.CONFORMS and (len(halves) < len(SIDES) or _needed(unseen) or strange):
        verdict = Verdict.OPEN
    return CraftFindings(
        taken_for=taken_for,
        pairs=tuple(pairs),
        sums=tuple(sums),
        leans=leans,
        mirrors=mirrors,
        alike=alike,
        strange=tuple(strange),
        unseen=tuple(unseen),
        verdict=verdict,
    )


def _strange_loops(legs: Sequence[Leg], pairs: Sequence[PairFound], sums: Sequence[Item]) -> list[Item]:
    """Return the sums of loops in which too much is wrong at once."""
    failing = {p.item.name for p in pairs if p.item.verdict is Verdict.FAILS}
    both = {leg.loop.name for leg in legs if all(pair.name in failing for pair in leg.pairs)}
    return [i for i in sums if i.name in both and abs(i.measured) - i.expanded > HAND_LOOP_MM]


def _too_rough(q: Quantity, measured: TracedLengths, limit: float) -> bool:
    """Whether a sum can neither be said to hold nor not to."""
    u = COVERAGE * measured.inputs.u(q)
    return u > limit and abs(q.value) - u <= limit


def _needed(unseen: Sequence[str]) -> bool:
    """Whether something is missing that a good dummy must show: all but what rests on an unmarked spine."""
    return any(name != feet_sum_of().name for name in unseen)


def _item(
    name: str, unit: str, q: Quantity, measured: TracedLengths, limit: float, rule: Rule = Rule.GUARDED
) -> Item:
    scale = DEG if unit == "deg" else 1.0
    return Item(
        name=name,
        unit=unit,
        nominal=0.0,
        measured=q.value * scale,
        u=measured.inputs.u(q) * scale,
        low=-limit,
        high=limit,
        rule=rule,
    )


def _total(total: Sum, measured: TracedLengths) -> Quantity | None:
    if any(k not in measured.lengths for k in total.terms):
        return None
    parts = [measured.lengths[k] * c for k, c in total.terms.items()]
    return sum(parts[1:], parts[0])


def _mirrors(measured: TracedLengths) -> tuple[Item, ...]:
    """Return left minus right of everything seen on both sides; no limits."""
    out = []
    for name, q in measured.lengths.items():
        n = parsed(name)
        if n.side == "left" and n.mirrored in measured.lengths:
            difference = q - measured.lengths[n.mirrored]
            out.append(_item(n.sideless, "mm", difference, measured, float("inf")))
    return tuple(out)


def _meant_alike(mirrors: Sequence[Item], limit: float) -> bool:
    """Whether most of what is seen on both sides is alike, so that left and right were meant so."""
    alike = sum(abs(i.measured) <= limit + i.expanded for i in mirrors)
    return len(mirrors) >= 3 and alike >= len(mirrors) / 2


def _pair(
    pair: Pair,
    leg: Leg,
    measured: TracedLengths,
    lean: ModelLean | None,
    *,
    alike: bool,
    limit: float,
    rule: Rule,
) -> PairFound:
    difference = measured.lengths[pair.first] - measured.lengths[pair.second]
    item = _item(pair.name, "mm", difference, measured, limit, rule)
    odd, agreeing = _odd_one(pair, measured, limit) if alike else ("", ())
    fails = item.verdict is Verdict.FAILS
    mends = mends_of(pair, leg, measured, lean, first=odd) if fails else ()
    return PairFound(
        pair=pair, item=item, odd=odd if fails else "", agreeing=agreeing if fails else (), mends=mends
    )


def _odd_one(pair: Pair, measured: TracedLengths, limit: float) -> tuple[str, tuple[str, ...]]:
    """Which of two lengths differs from those on the other side that should be as long, and those.

    Told only where those on the other side agree with each other and with one of the two.
    """
    others = [parsed(k).mirrored for k in (pair.first, pair.second)]
    if any(k not in measured.lengths for k in others):
        return "", ()

    def apart(a: str, b: str) -> tuple[float, float]:
        q = measured.lengths[a] - measured.lengths[b]
        return abs(q.value), limit + COVERAGE * measured.inputs.u(q)

    def same(a: str, b: str) -> bool:
        off, room = apart(a, b)
        return off <= min(room, ALIKE_SHARE * measured.lengths[a].value)

    if not same(*others):
        return "", ()
    for odd, fine in ((pair.first, pair.second), (pair.second, pair.first)):
        if all(same(fine, k) for k in others) and not any(same(odd, k) for k in others):
            return odd, (fine, *others)
    return "", ()


def _leans(
    legs: Sequence[Leg], measured: TracedLengths, level_deg: float, rule: Rule
) -> tuple[HalfLean, ...]:
    out = []
    for side in SIDES:
        name = told_of(Told.LEAN, side)
        if name not in measured.angles:
            continue
        item = _item(name, "deg", measured.angles[name], measured, level_deg, rule)
        # The outermost leg sets the level.
        outermost = [leg for leg in legs if leg.side == side][-1:]
        made: dict[str, float] = {}
        for leg in outermost:
            lean = model_lean(leg, measured)
            if lean is not None:
                made = {pair.name: lean.now_deg - lean.with_equal(pair) for pair in leg.pairs}
        out.append(HalfLean(side=side, item=item, made=made))
    return tuple(out)
