"""Repairs of the trade: for each fault, what one would do at the bench.

Match like with like: a leg with its side of the fold, the spacing on the plane with the spacing on the page.
Sliding one to make up for an error of the other may look level at one opening and is worse at the next.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Final

from compare.cause.causes import Cause
from compare.design.linkage.mechanism import Mechanism
from compare.units import Unit
from compare.vocabulary import Kind, called, of_stage, parsed

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

    @property
    def words(self) -> str:
        """Return it in plain words."""
        return (
            "nothing to do",
            "lift and re-glue, no knife",
            "trimming only",
            "one strip to cut and score anew",
            "several strips to re-score",
            "a new dummy",
        )[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing to do.

    Attributes
    ----------
    text : one sentence, an instruction.
    changes_mm : length -> by how much it is changed from where it is.
    sets_mm : length -> what it is made anew.
    cuts : True if it needs a knife.
    effort : how much work it is.
    side_effects : what else changes, short phrases.
    """

    text: str
    changes_mm: Mapping[str, float] = field(default_factory=dict)
    sets_mm: Mapping[str, float] = field(default_factory=dict)
    cuts: bool
    effort: Effort
    side_effects: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The dummy on the bench: lengths as measured (and assumed), as designed, and the unit to speak in."""

    mechanism: Mechanism
    values: Mapping[str, float]
    unit: Unit

    def show(self, mm: float) -> str:
        """Return a length in the user's unit."""
        return self.unit.words(abs(mm))

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
    part = called(name)
    if change <= 0:
        return [
            Move(
                text=f"Re-score {part} {bench.show(change)} shorter: {bench.show(target)} from fold to fold.",
                sets_mm={name: target},
                cuts=True,
                effort=Effort.STRIP,
            )
        ]
    new = Move(
        text=f"Make a new strip for {part}, {bench.show(target)} from fold to fold, to match its side of the "
        "fold.",
        sets_mm={name: target},
        cuts=True,
        effort=Effort.STRIP,
    )
    return [new, *_lowered(bench, name, change)]


def _lowered(bench: Bench, short: str, by: float) -> list[Move]:
    """Bring everything else of the construction down to a short leg."""
    n = parsed(short)
    same = [k for k in bench.values if parsed(k).stage == n.stage]
    down = [k for k in same if parsed(k).kind in (Kind.FOLD, Kind.LEG) and k != short]
    if n.kind != Kind.LEG or len([k for k in down if parsed(k).kind == Kind.FOLD]) != 2:
        return []
    legs = [k for k in down if parsed(k).kind == Kind.LEG]
    others = {0: "", 1: ", the other leg too"}.get(len(legs), ", all other legs too")
    return [
        Move(
            text=f"Or bring the rest down to it: re-score both sides of the parallel fold {bench.show(by)} "
            f"shorter{others}.",
            changes_mm=dict.fromkeys(down, -by),
            cuts=True,
            effort=Effort.SEVERAL,
            side_effects=("the plane lies lower",),
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
    n = parsed(name)
    after = bench.values[name] + change
    how = "Or leave that and lift" if instead else "Lift"
    if n.kind == Kind.PLANE_SPACING:
        way = "farther from" if change > 0 else "nearer to"
        text = (
            f"{how} {called(name)} off the plane and glue it {bench.show(change)} {way} the ridge: "
            f"{bench.show(after)} from it."
        )
    else:
        way = "out" if change > 0 else "in"
        text = (
            f"{how} {called(name)} and glue it {bench.show(change)} farther {way}: "
            f"{bench.show(after)} from the inner foot."
        )
    off = after - bench.nominal(name)
    side = (f"{name} stays {bench.show(off)} off the design, matched with its partner",) if instead else ()
    return Move(text=text, changes_mm={name: change}, cuts=False, effort=Effort.REGLUE, side_effects=side)


def _plane(bench: Bench, name: str, size: float) -> list[Move]:
    part = called(name)
    if size > 0:
        return [
            Move(
                text=f"Trim {bench.show(size)} off the outer edge of {part}.",
                changes_mm={name: -size},
                cuts=True,
                effort=Effort.TRIM,
            )
        ]
    return [
        Move(
            text=f"Leave {part} {bench.show(size)} narrow if looks allow; only a new plane makes it wider.",
            cuts=False,
            effort=Effort.NOTHING,
            side_effects=(f"{part} stays {bench.show(size)} narrow",),
        )
    ]


def _page(bench: Bench, name: str, size: float) -> list[Move]:
    if size > 0:
        text = f"Trim {bench.show(size)} off {called(name)}."
        return [Move(text=text, changes_mm={name: -size}, cuts=True, effort=Effort.TRIM)]
    text = f"Only a new base makes {called(name)} {bench.show(size)} wider."
    return [Move(text=text, sets_mm={name: bench.nominal(name)}, cuts=True, effort=Effort.REBUILD)]


def _fold(bench: Bench, name: str, size: float) -> list[Move]:
    target = bench.nominal(name)
    text = (
        f"Make the parallel fold anew, {called(name).replace(' of the parallel fold', '')} "
        f"{bench.show(target)} from foot to ridge."
        if size < 0
        else f"Re-score {called(name)} {bench.show(size)} shorter: {bench.show(target)} from foot to ridge."
    )
    return [Move(text=text, sets_mm={name: target}, cuts=True, effort=Effort.STRIP)]


def _strip(bench: Bench, name: str, size: float) -> list[Move]:
    """Any other strip: made anew as designed."""
    target = bench.nominal(name)
    how = "Re-score" if size > 0 else "Make anew"
    text = f"{how} {called(name)}: {bench.show(target)} from fold to fold."
    return [Move(text=text, sets_mm={name: target}, cuts=True, effort=Effort.STRIP)]


def _placed(bench: Bench, name: str, size: float) -> list[Move]:
    """Glue a foot, hinge or tab that has no partner where it belongs."""
    n = parsed(name)
    if n.kind == Kind.SUPPORT_TAB:
        way = "nearer to the ridge" if size > 0 else "farther from the ridge"
    else:
        way = f"nearer to the {'spine' if n.stage == 1 else 'crease below'}" if size > 0 else "farther out"
    text = f"Lift {called(name)} and glue it {bench.show(size)} {way}."
    return [Move(text=text, changes_mm={name: -size}, cuts=False, effort=Effort.REGLUE)]


def _shifted(bench: Bench, cause: Cause) -> list[Move]:
    """Take the fault out as it came in: for pieces glued in the wrong place."""
    d = cause.size_mm
    far = bench.show(d)
    way = "left" if d > 0 else "right"
    n = parsed(cause.fault.name)
    changes = {k: -d * c for k, c in cause.fault.pattern.items()}
    of = of_stage(n.stage)
    cuts, effort = False, Effort.REGLUE
    if n.kind == Kind.CREASE_OFF:
        text = f"Re-glue the plane{of} {far} farther {way}, its crease on the ridge."
        if not any(parsed(k).kind == Kind.PLANE_SPACING for k in changes):
            wide = "right" if d > 0 else "left"
            text = f"Re-glue the plane{of} {far} farther {way}, or trim {far} off its {wide} half."
    elif n.kind == Kind.FOLD_POSITION:
        text = f"Lift the parallel fold{of} and glue it {far} farther {way}."
    elif n.kind == Kind.RIDGE_SCORE:
        sides = [k for k in cause.fault.pattern if parsed(k).kind == Kind.FOLD]
        sizes = " and ".join(bench.show(bench.nominal(k)) for k in sorted(sides))
        text = f"Make the parallel fold{of} anew, its ridge scored {far} farther {way}: sides of {sizes}."
        cuts, effort = True, Effort.STRIP
    elif n.kind == Kind.FEET and not n.side:
        text = (
            f"Measure both inner feet from the spine with a rule to see which of them is off, then glue them "
            f"{far} {'nearer together' if d > 0 else 'farther apart'}."
        )
    else:  # "foot right" with what was marked from the spine, "feet right"
        which = f"the {n.side} inner foot" if n.kind == Kind.FOOT else f"the {n.side} feet"
        where = "nearer to the spine" if d > 0 else "farther from the spine"
        text = f"Lift {which} and glue {'it' if n.kind == Kind.FOOT else 'them'} {far} {where}."
    return [Move(text=text, changes_mm=changes, cuts=cuts, effort=effort)]


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
