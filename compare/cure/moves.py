"""Repairs of the trade: for each fault, what one would do at the bench, as its construction knows it."""

from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

from compare.cause.causes import Cause
from compare.cause.faults import feet_apart
from compare.design.craft.bench import Bench, Maker, Makers, anew, strip_anew, trimmed
from compare.design.craft.fault import Fault, FaultKind, fault_of_length
from compare.design.craft.move import Effort, Move, MoveKind
from compare.quantities.measured import feet_lengths
from compare.vocabulary import Kind, feet_equality, named, parsed
from measure.sides import SIDES


def _page(bench: Bench, fault: Fault, size: float) -> list[Move]:
    if size > 0:
        return [trimmed(MoveKind.TRIM_PAGE, fault.name, size)]
    return [anew(MoveKind.NEW_BASE, bench, fault.name, size, Effort.REBUILD)]


def _apart(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Measure both feet, which the photo does not tell one by one, and put them where they belong.

    The outer feet go along, so all spacings on the page stay as they are.
    """
    feet = tuple(fault.pattern)
    return [
        Move(
            kind=MoveKind.FEET_MEASURED,
            by_mm=-size,
            sides_mm=tuple(bench.nominal(k) for k in feet),
            sets_mm={k: bench.nominal(k) for k in feet},
            cuts=False,
            effort=Effort.REGLUE,
        )
    ]


ANYWHERE: Final[Makers] = MappingProxyType({Kind.PAGE: _page, FaultKind.FEET_APART: _apart})
"""What belongs to every base, whatever is built on it."""


def maker_of(makers: Makers, fault: Fault) -> Maker:
    """Return who knows what to do about a fault."""
    key = parsed(fault.name).kind if fault.kind is FaultKind.LENGTH else fault.kind
    return makers.get(key) or ANYWHERE.get(key) or strip_anew


def moves_for(makers: Makers, bench: Bench, cause: Cause) -> list[Move]:
    """Return what one could do about one fault, the plainest first; [] if its lengths are not all known."""
    if any(k not in bench.values for k in cause.fault.pattern):
        return []
    return maker_of(makers, cause.fault)(bench, cause.fault, cause.size_mm)


def match_moves(makers: Makers, bench: Bench) -> list[tuple[str, Move]]:
    """Return moves that make pairs match, each with the name of its pair.

    For when errors add up that are no single fault.
    """
    out: list[tuple[str, Move]] = []
    for pair in bench.mechanism.pairs:
        if pair.first in bench.values and pair.second in bench.values:
            fault = fault_of_length(pair.first)
            moves = maker_of(makers, fault)(bench, fault, -bench.to_match(pair.first, pair.second))
            out += [(pair.name, m) for m in moves]
    return out


def measuring_moves(bench: Bench, assumed: Sequence[str]) -> list[Move]:
    """Return the move that looks where both inner feet stand; [] if the photo tells it."""
    feet = feet_lengths(bench.mechanism)
    if feet is None or not all(k in assumed and k in bench.values for k in feet):
        return []
    return _apart(bench, feet_apart(feet), 0.0)


def feet_moves(makers: Makers, bench: Bench, assumed: Sequence[str]) -> list[tuple[str, Move]]:
    """Return moves of the feet of one side that make both sides of a fold reach one ridge when shut.

    assumed : lengths that were not measured; a foot among them tells nothing.
    """
    maker = makers.get(FaultKind.FEET_MOVED)
    out: list[tuple[str, Move]] = []
    for loop in bench.mechanism.loops:
        n = parsed(loop.name)
        known = [k for k in (*loop.one, *loop.other) if k in bench.values and k not in assumed]
        if n.kind != Kind.FEET or maker is None or len(known) < len((*loop.one, *loop.other)):
            continue
        error = loop.error(bench.values)
        for side, size in zip(SIDES, (error, -error), strict=True):
            foot = named(Kind.FOOT, side, stage=n.stage)
            fault = Fault(
                kind=FaultKind.FEET_MOVED,
                name=named(Kind.FEET, side, stage=n.stage),
                stage=n.stage,
                side=side,
                pattern={foot: 1.0},
            )
            out += [(feet_equality(n.stage), m) for m in maker(bench, fault, size)]
    return out
