"""Repairs of the trade: for each fault, what one would do at the bench.

Match like with like: a leg with its side of the fold, the spacing on the plane with the spacing on the page.
Sliding one to make up for an error of the other may look level at one opening and is worse at the next.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum, IntEnum, auto
from typing import Final

from compare.cause.causes import Cause
from compare.cause.faults import FaultKind
from compare.design.linkage.mechanism import Mechanism
from compare.vocabulary import Kind, parsed

LEAST_MOVE: Final = 0.05  # mm; less than this nobody moves anything
ROOM: Final = 1.0  # mm of card that must stay beyond a glue line


class Effort(IntEnum):
    """How much work a repair is."""

    NOTHING = 0
    REGLUE = 1
    TRIM = 2
    STRIP = 3
    SEVERAL = 4
    REBUILD = 5


class MoveKind(Enum):
    """What is done."""

    LEG_SHORTER = auto()
    NEW_LEG = auto()
    LOWER_REST = auto()  # both sides of the fold and all other legs down to a short leg
    SLIDE_TOP = auto()  # the top of a leg along the plane
    SLIDE_FOOT = auto()  # an outer foot along the page
    TRIM_PLANE = auto()
    TRIM_CLEAR = auto()  # so that nothing sticks out when shut
    LEAVE_NARROW = auto()
    TRIM_PAGE = auto()
    NEW_BASE = auto()
    NEW_FOLD = auto()
    FOLD_SHORTER = auto()
    NEW_STRIP = auto()
    STRIP_SHORTER = auto()
    PLACE_TAB = auto()
    PLACE_FOOT = auto()  # a foot or hinge without a partner
    MOVE_PLANE = auto()  # its crease onto the ridge
    MOVE_OR_TRIM_PLANE = auto()
    MOVE_FOLD = auto()
    NEW_RIDGE = auto()
    FEET_TOGETHER = auto()
    MOVE_FOOT = auto()  # an inner foot, what was marked from the spine stays
    MOVE_FEET = auto()  # an inner foot with all that was marked from it
    REBUILD = auto()


class SideEffectKind(Enum):
    """What else a move changes."""

    LOWER = auto()  # the plane lies lower
    OFF_DESIGN = auto()  # a length stays off the design, matched with its partner
    STAYS_NARROW = auto()
    NARROWER = auto()


@dataclass(frozen=True, slots=True)
class SideEffect:
    """Something else that a move changes: what, on which length, by how much (mm)."""

    kind: SideEffectKind
    length: str = ""
    mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing to do.

    Attributes
    ----------
    kind : what is done.
    part : the length it is done to; "" where it is none alone.
    stage, side : the construction (1 for the first), and the side; "" if both.
    by_mm : how far it is moved: + = outwards, farther from the ridge, to the right; or by how much it is cut.
    to_mm : what it then measures, or the clearance it then leaves; expanded_mm : U of that clearance.
    sides_mm : both sides of a fold whose ridge is scored anew.
    other_legs : how many legs are re-scored along.
    instead : True for something to be done instead of the move before it.
    changes_mm : length -> by how much it is changed from where it is.
    sets_mm : length -> what it is made anew.
    cuts : True if it needs a knife.
    effort : how much work it is.
    side_effects : what else changes.
    """

    kind: MoveKind
    part: str = ""
    stage: int = 1
    side: str = ""
    by_mm: float = 0.0
    to_mm: float = 0.0
    expanded_mm: float = 0.0
    sides_mm: tuple[float, ...] = ()
    other_legs: int = 0
    instead: bool = False
    changes_mm: Mapping[str, float] = field(default_factory=dict)
    sets_mm: Mapping[str, float] = field(default_factory=dict)
    cuts: bool
    effort: Effort
    side_effects: tuple[SideEffect, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The dummy on the bench: lengths as measured (and assumed), and as designed."""

    mechanism: Mechanism
    values: Mapping[str, float]

    def nominal(self, name: str) -> float:
        """Return the design's length, mm."""
        return float(self.mechanism.lengths[name])

    def partner(self, name: str) -> str | None:
        """Return the length this one must match, if it has one that was measured."""
        for pair in self.mechanism.pairs:
            for a, b in ((pair.first, pair.second), (pair.second, pair.first)):
                if a == name and b in self.values:
                    return b
        return None

    def to_match(self, name: str, partner: str) -> float:
        """Return the change that makes a length match its partner as the design wants it."""
        return self.values[partner] + self.nominal(name) - self.nominal(partner) - self.values[name]


def _leg(bench: Bench, name: str, size: float) -> list[Move]:
    fold = bench.partner(name)
    if fold is None:
        return _strip(bench, name, size)
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
            instead=True,
            changes_mm=dict.fromkeys(down, -by),
            cuts=True,
            effort=Effort.SEVERAL,
            side_effects=(SideEffect(SideEffectKind.LOWER),),
        )
    ]


def _slid(bench: Bench, name: str, size: float) -> list[Move]:
    """Glue a foot, or the top of a leg, elsewhere; or its partner, to match."""
    partner = bench.partner(name)
    if partner is None:
        return [_slide(bench, name, -size)]
    own = _slide(bench, name, bench.to_match(name, partner))
    other = _slide(bench, partner, bench.to_match(partner, name), instead=True)
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


def _slide(bench: Bench, name: str, change: float, *, instead: bool = False) -> Move:
    after = bench.values[name] + change
    off = SideEffect(SideEffectKind.OFF_DESIGN, name, after - bench.nominal(name))
    return Move(
        kind=MoveKind.SLIDE_TOP if parsed(name).kind == Kind.PLANE_SPACING else MoveKind.SLIDE_FOOT,
        part=name,
        by_mm=change,
        to_mm=after,
        instead=instead,
        changes_mm={name: change},
        cuts=False,
        effort=Effort.REGLUE,
        side_effects=(off,) if instead else (),
    )


def _plane(bench: Bench, name: str, size: float) -> list[Move]:
    if size > 0:
        return [_trim(MoveKind.TRIM_PLANE, name, size)]
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


def _trim(kind: MoveKind, name: str, by: float) -> Move:
    return Move(kind=kind, part=name, by_mm=by, changes_mm={name: -by}, cuts=True, effort=Effort.TRIM)


def _page(bench: Bench, name: str, size: float) -> list[Move]:
    if size > 0:
        return [_trim(MoveKind.TRIM_PAGE, name, size)]
    return [replace(_anew(MoveKind.NEW_BASE, bench, name, size), effort=Effort.REBUILD)]


def _anew(kind: MoveKind, bench: Bench, name: str, size: float) -> Move:
    """Make a strip as designed."""
    target = bench.nominal(name)
    return Move(
        kind=kind,
        part=name,
        by_mm=size,
        to_mm=target,
        sets_mm={name: target},
        cuts=True,
        effort=Effort.STRIP,
    )


def _fold(bench: Bench, name: str, size: float) -> list[Move]:
    return [_anew(MoveKind.NEW_FOLD if size < 0 else MoveKind.FOLD_SHORTER, bench, name, size)]


def _strip(bench: Bench, name: str, size: float) -> list[Move]:
    """Any other strip: made anew as designed."""
    return [_anew(MoveKind.STRIP_SHORTER if size > 0 else MoveKind.NEW_STRIP, bench, name, size)]


def _placed(bench: Bench, name: str, size: float) -> list[Move]:
    """Glue a foot, hinge or tab that has no partner where it belongs."""
    n = parsed(name)
    return [
        Move(
            kind=MoveKind.PLACE_TAB if n.kind == Kind.SUPPORT_TAB else MoveKind.PLACE_FOOT,
            part=name,
            stage=n.stage,
            side=n.side,
            by_mm=-size,
            changes_mm={name: -size},
            cuts=False,
            effort=Effort.REGLUE,
        )
    ]


_SHIFTS: Final[Mapping[FaultKind, MoveKind]] = {
    FaultKind.LENGTH: MoveKind.MOVE_FOOT,  # what was marked from the spine stays
    FaultKind.FEET_MOVED: MoveKind.MOVE_FEET,
    FaultKind.FEET_APART: MoveKind.FEET_TOGETHER,
    FaultKind.RIDGE_SCORE: MoveKind.NEW_RIDGE,
    FaultKind.FOLD_POSITION: MoveKind.MOVE_FOLD,
    FaultKind.CREASE: MoveKind.MOVE_PLANE,
}


def _shifted(bench: Bench, cause: Cause) -> list[Move]:
    """Take the fault out as it came in: for pieces glued in the wrong place."""
    fault, d = cause.fault, cause.size_mm
    kind = _SHIFTS[fault.kind]
    if kind is MoveKind.MOVE_PLANE and not any(parsed(k).kind == Kind.PLANE_SPACING for k in fault.pattern):
        kind = MoveKind.MOVE_OR_TRIM_PLANE
    anew = kind is MoveKind.NEW_RIDGE
    sides = sorted(k for k in fault.pattern if parsed(k).kind == Kind.FOLD) if anew else ()
    return [
        Move(
            kind=kind,
            stage=fault.stage,
            side=fault.side,
            by_mm=-d,
            sides_mm=tuple(bench.nominal(k) for k in sides),
            changes_mm={k: -d * c for k, c in fault.pattern.items()},
            cuts=anew,
            effort=Effort.STRIP if anew else Effort.REGLUE,
        )
    ]


_BY_KIND: Final[Mapping[str, Callable[[Bench, str, float], list[Move]]]] = {
    Kind.LEG: _leg,
    Kind.PAGE_SPACING: _slid,
    Kind.PLANE_SPACING: _slid,
    Kind.PLANE: _plane,
    Kind.PAGE: _page,
    Kind.FOLD: _fold,
    Kind.SUPPORT_FOOT: _placed,
    Kind.SUPPORT_TAB: _placed,
    Kind.FLAP_HINGE: _placed,
    Kind.VFOLD_FOOT: _placed,
    Kind.VFOLD_TOP: _placed,
}


def moves_for(bench: Bench, cause: Cause) -> list[Move]:
    """Return what one could do about one fault, the plainest first; [] if its lengths are not all known."""
    pattern = cause.fault.pattern
    if any(k not in bench.values for k in pattern):
        return []
    name = cause.fault.name
    if name in bench.values and len(pattern) == 1:
        kind = parsed(name).kind
        if kind == Kind.FOOT:
            return _placed(bench, name, cause.size_mm)
        return _BY_KIND.get(kind, _strip)(bench, name, cause.size_mm)
    return _shifted(bench, cause)


def match_moves(bench: Bench, half: str) -> list[Move]:
    """Return moves that make the pairs of one half match, for when small errors add up to a lean."""
    governs = bench.mechanism.half(half).governs
    out: list[Move] = []
    for pair in bench.mechanism.pairs:
        if pair.first not in governs or pair.first not in bench.values or pair.second not in bench.values:
            continue
        change = bench.to_match(pair.first, pair.second)
        if abs(change) < LEAST_MOVE:
            continue
        kind = parsed(pair.first).kind
        if kind == Kind.LEG:
            out.append(_leg(bench, pair.first, -change)[0])
        elif kind == Kind.PLANE_SPACING:
            out.append(_slide(bench, pair.first, change))
    return out
