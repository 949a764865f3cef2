"""Repairs of the trade: for each fault, what one would do at the bench, as its construction knows it."""

from types import MappingProxyType
from typing import Final

from compare.cause.causes import Cause
from compare.design.craft.bench import LEAST_MOVE, Bench, Maker, Makers, anew, moved_back, strip_anew, trimmed
from compare.design.craft.fault import Fault, FaultKind, fault_of_length
from compare.design.craft.move import Effort, Move, MoveKind
from compare.vocabulary import Kind, parsed


def _page(bench: Bench, fault: Fault, size: float) -> list[Move]:
    if size > 0:
        return [trimmed(MoveKind.TRIM_PAGE, fault.name, size)]
    return [anew(MoveKind.NEW_BASE, bench, fault.name, size, Effort.REBUILD)]


def _apart(bench: Bench, fault: Fault, size: float) -> list[Move]:
    return [moved_back(MoveKind.FEET_TOGETHER, fault, size)]


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


def match_moves(makers: Makers, bench: Bench, half: str) -> list[Move]:
    """Return moves that make the pairs of one half match, for when small errors add up to a lean."""
    governs = bench.mechanism.half(half).governs
    out: list[Move] = []
    for pair in bench.mechanism.pairs:
        if pair.first not in governs or pair.first not in bench.values or pair.second not in bench.values:
            continue
        change = bench.to_match(pair.first, pair.second)
        if abs(change) < LEAST_MOVE:
            continue
        fault = fault_of_length(pair.first)
        out.append(maker_of(makers, fault)(bench, fault, -change)[0])
    return out
