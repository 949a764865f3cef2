"""Repairs of a leg and its plane.

Match like with like: a leg with its side of the fold, the spacing on the plane with the spacing on the page.
Sliding one to make up for an error of the other may look level at one opening and is worse at the next.
"""

from types import MappingProxyType
from typing import Final

from compare.design.craft.bench import Bench, Makers, moved_back, strip_anew, trimmed
from compare.design.craft.fault import Fault, FaultKind
from compare.design.craft.move import Effort, Move, MoveKind, SideEffect, SideEffectKind
from compare.vocabulary import Kind, parsed

ROOM: Final = 1.0  # mm of card that must stay beyond a glue line


def _leg(bench: Bench, fault: Fault, size: float) -> list[Move]:
    name = fault.name
    fold = bench.partner(name)
    if fold is None:
        return strip_anew(bench, fault, size)
    change = bench.to_match(name, fold)
    target = bench.values[name] + change
    move = Move(
        kind=MoveKind.LEG_SHORTER if change <= 0 else MoveKind.NEW_LEG,
        part=name,
        by_mm=change,
        to_mm=target,
        sets_mm={name: target},
        cuts=True,
        effort=Effort.STRIP,
    )
    return [move] if change <= 0 else [move, *_lowered(bench, name, change)]


def _lowered(bench: Bench, short: str, by: float) -> list[Move]:
    """Bring everything else of the construction down to a short leg."""
    n = parsed(short)
    same = [k for k in bench.values if parsed(k).stage == n.stage]
    down = [k for k in same if parsed(k).kind in (Kind.FOLD, Kind.LEG) and k != short]
    if n.kind != Kind.LEG or len([k for k in down if parsed(k).kind == Kind.FOLD]) != 2:
        return []
    legs = [k for k in down if parsed(k).kind == Kind.LEG]
    return [
        Move(
            kind=MoveKind.LOWER_REST,
            stage=n.stage,
            by_mm=by,
            other_legs=len(legs),
            changes_mm=dict.fromkeys(down, -by),
            cuts=True,
            effort=Effort.SEVERAL,
            side_effects=(SideEffect(SideEffectKind.LOWER),),
        )
    ]


def _slid(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Glue a foot, or the top of a leg, elsewhere; or its partner, to match."""
    name = fault.name
    partner = bench.partner(name)
    if partner is None:
        return [_slide(bench, name, -size)]
    own = _slide(bench, name, bench.to_match(name, partner))
    other = _slide(bench, partner, bench.to_match(partner, name), to_match=True)
    return [own, other] if _room_for(bench, partner, other.changes_mm[partner]) else [own]


def _room_for(bench: Bench, name: str, change: float) -> bool:
    """Return whether the glue line still lies on the card (plane or page) after the change."""
    n = parsed(name)
    after = bench.values[name] + change
    if n.kind == Kind.PLANE_SPACING:
        edge = bench.values.get(n.other(Kind.PLANE, numbered=False))
        return edge is None or after <= edge - ROOM
    page, foot = (bench.values.get(n.other(k, numbered=False)) for k in (Kind.PAGE, Kind.FOOT))
    return after > ROOM and (page is None or foot is None or foot + after <= page - ROOM)


def _slide(bench: Bench, name: str, change: float, *, to_match: bool = False) -> Move:
    after = bench.values[name] + change
    off = SideEffect(SideEffectKind.OFF_DESIGN, name, after - bench.nominal(name))
    return Move(
        kind=MoveKind.SLIDE_TOP if parsed(name).kind == Kind.PLANE_SPACING else MoveKind.SLIDE_FOOT,
        part=name,
        by_mm=change,
        to_mm=after,
        changes_mm={name: change},
        cuts=False,
        effort=Effort.REGLUE,
        side_effects=(off,) if to_match else (),
    )


def _plane(bench: Bench, fault: Fault, size: float) -> list[Move]:
    name = fault.name
    if size > 0:
        return [trimmed(MoveKind.TRIM_PLANE, name, size)]
    return [
        Move(
            kind=MoveKind.LEAVE_NARROW,
            part=name,
            by_mm=size,
            cuts=False,
            effort=Effort.NOTHING,
            side_effects=(SideEffect(SideEffectKind.STAYS_NARROW, name, size),),
        )
    ]


def _crease(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Glue the plane with its crease on the ridge; where only its edges are off, trimming may do."""
    legs_too = any(parsed(k).kind == Kind.PLANE_SPACING for k in fault.pattern)
    return [moved_back(MoveKind.MOVE_PLANE if legs_too else MoveKind.MOVE_OR_TRIM_PLANE, fault, size)]


PLANE_MAKERS: Final[Makers] = MappingProxyType(
    {
        Kind.LEG: _leg,
        Kind.PAGE_SPACING: _slid,
        Kind.PLANE_SPACING: _slid,
        Kind.PLANE: _plane,
        FaultKind.CREASE: _crease,
    }
)
