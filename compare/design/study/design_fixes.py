"""Which number of the spec to change for what is wrong with a design, and which fault is the worst."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from compare.design.design_facts import (
    Fact,
    Jams,
    Leaning,
    LegDisagrees,
    LittleRoomShut,
    OpensTo,
    PassesThrough,
    SticksOutAtEnd,
    SticksOutMoving,
    Unclosed,
)
from compare.design.linkage.mechanism import Pair
from compare.design.spec.spec import Spec
from compare.design.study.soundness import CLOSING_SLACK
from compare.vocabulary import Kind, named, parsed

WORST_FIRST: Final[tuple[type[Fact], ...]] = (
    Unclosed,
    Jams,
    SticksOutMoving,
    SticksOutAtEnd,
    PassesThrough,
    LegDisagrees,
    OpensTo,
    Leaning,
    LittleRoomShut,
)
"""What keeps a spread from shutting comes before what shows when it stands open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """A number of the spec to change: where it stands, what it should be (mm, or degrees)."""

    table: str
    key: str
    value: float
    in_degrees: bool = False


def _rank(fact: Fact) -> int:
    if isinstance(fact, LittleRoomShut) and fact.spare_mm < 0:
        return WORST_FIRST.index(SticksOutMoving)
    return WORST_FIRST.index(type(fact)) if type(fact) in WORST_FIRST else len(WORST_FIRST)


def worst_of(facts: Sequence[Fact]) -> Fact:
    """Return the fault that matters most; the first of several alike."""
    return min(facts, key=_rank)


def _set(spec: Spec, name: str, value: float) -> Fix | None:
    """Return the change that makes a length so long; None where no number of the spec says it."""
    key = spec.building.key_of(name)
    if key is None or not value > 0:
        return None
    return Fix(table=key[0], key=key[1], value=value, in_degrees=name in spec.mechanism.degrees)


def _matched(spec: Spec, pairs: Sequence[Pair]) -> Fix | None:
    """Make the one pair that differs agree; None if none does, or several."""
    n = spec.mechanism.lengths
    odd = [p for p in pairs if abs(n[p.first] - n[p.second]) > CLOSING_SLACK]
    return _set(spec, odd[0].first, n[odd[0].second]) if len(odd) == 1 else None


def _closed(spec: Spec, fact: Unclosed) -> Fix | None:
    """Close a loop: by its one pair that differs, else by its last length whose weight is 1."""
    loop, n = fact.loop, spec.mechanism.lengths
    members = {*loop.one, *loop.other}
    pairs = [p for p in spec.mechanism.pairs if {p.first, p.second} <= members]
    if (fix := _matched(spec, pairs)) is not None:
        return fix
    error = loop.error(n)
    names = loop.other if error > 0 else loop.one  # the shorter way round is made longer
    last = next((k for k in reversed(names) if loop.weights.get(k, 1.0) == 1.0), None)
    return None if last is None else _set(spec, last, n[last] + abs(error))


def _narrower(spec: Spec, side: str, by: float) -> Fix | None:
    """Take so much off what reaches farthest on a side: the plane's edge, else give a wider page."""
    n = spec.mechanism.lengths
    reaches = [r for r in spec.mechanism.reaches if r.side == side]
    if reaches:
        last = max(reaches, key=lambda r: float(r.total(n))).lengths[-1]
        if parsed(last).kind == Kind.PLANE:
            return _set(spec, last, n[last] - by)
    page = spec.base.page(side)
    key = f"page_{side}" if spec.base.page_left != spec.base.page_right else "page"
    return Fix(table="base", key=key, value=page + by)


def fix_for(spec: Spec, fact: Fact) -> Fix | None:
    """Return the number to change for one fault; None where no single number cures it."""
    n: Mapping[str, float] = spec.mechanism.lengths
    match fact:
        case Unclosed():
            return _closed(spec, fact)
        case LegDisagrees(leg=leg, more_mm=more):
            return _set(spec, leg, n[leg] + more)
        case Leaning(half=half):
            governs = spec.mechanism.half(half).governs
            return _matched(spec, [p for p in spec.mechanism.pairs if p.first in governs])
        case LittleRoomShut(side=side, spare_mm=spare):
            return _narrower(spec, side, spec.tolerance.clearance - spare)
        case SticksOutMoving(side=side, joint=joint, over_mm=over):
            edge = parsed(joint)
            plane = named(Kind.PLANE, edge.side, stage=edge.stage)
            if edge.kind == Kind.PLANE_EDGE and edge.side == side:
                return _set(spec, plane, n[plane] - over)
            return None
        case SticksOutAtEnd(end="far", over_mm=over):
            moves = spec.mechanism.one_behind_other or spec.mechanism.glued_at
            depth = spec.card.strip_depth - over
            return None if moves else Fix(table="card", key="strip_depth", value=depth)
    return None
