"""Repairs of a parallel fold: a side made anew, a foot or the whole fold glued where it belongs."""

from dataclasses import replace
from types import MappingProxyType
from typing import Final

from compare.design.craft.bench import Bench, Makers, anew, moved_back, placed
from compare.design.craft.fault import Fault, FaultKind
from compare.design.craft.move import Effort, Move, MoveKind
from compare.vocabulary import Kind, parsed


def _side(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Make one side as designed; a new fold keeps its other side as it is."""
    if size >= 0:
        return [anew(MoveKind.FOLD_SHORTER, bench, fault.name, size)]
    other = parsed(fault.name).mirrored
    kept = {other: 0.0} if other in bench.values else {}
    return [replace(anew(MoveKind.NEW_FOLD, bench, fault.name, size), changes_mm=kept)]


def _foot(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Glue an inner foot where it belongs; what was marked from the spine stays."""
    return placed(bench, fault, size) if len(fault.pattern) == 1 else _back(MoveKind.MOVE_FOOT, fault, size)


def _feet(bench: Bench, fault: Fault, size: float) -> list[Move]:
    return _back(MoveKind.MOVE_FEET, fault, size)


def _fold(bench: Bench, fault: Fault, size: float) -> list[Move]:
    return _back(MoveKind.MOVE_FOLD, fault, size)


def _back(kind: MoveKind, fault: Fault, size: float) -> list[Move]:
    return [moved_back(kind, fault, size)]


def _ridge(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Make the fold anew, its ridge scored where it belongs."""
    sides = sorted(k for k in fault.pattern if parsed(k).kind == Kind.FOLD)
    move = moved_back(MoveKind.NEW_RIDGE, fault, size)
    lengths = tuple(bench.nominal(k) for k in sides)
    return [replace(move, sides_mm=lengths, cuts=True, effort=Effort.STRIP)]


FOLD_MAKERS: Final[Makers] = MappingProxyType(
    {
        Kind.FOLD: _side,
        Kind.FOOT: _foot,
        FaultKind.FEET_MOVED: _feet,
        FaultKind.FOLD_POSITION: _fold,
        FaultKind.RIDGE_SCORE: _ridge,
    }
)
