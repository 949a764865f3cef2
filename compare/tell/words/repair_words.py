"""Repairs in words: each move of `compare.design.craft.move`, what else it changes, how much work it is."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.cure.plans import Remedy
from compare.design.craft.move import Effort, Move, MoveKind, SideEffect, SideEffectKind
from compare.tell.words.cause_words import cause_sentence
from compare.tell.words.name_words import called, of_stage
from compare.units import MM, Unit
from compare.vocabulary import parsed

EFFORT: Final[Mapping[Effort, str]] = MappingProxyType(
    {
        Effort.NOTHING: "nothing to do",
        Effort.REGLUE: "lift and re-glue, no knife",
        Effort.TRIM: "trimming only",
        Effort.STRIP: "one strip to cut and score anew",
        Effort.SEVERAL: "several strips to re-score",
        Effort.REBUILD: "a new dummy",
    }
)
MOVES: Final[Mapping[MoveKind, str]] = MappingProxyType(
    {
        MoveKind.LEG_SHORTER: "Re-score {part} {by} shorter: {to} from fold to fold.",
        MoveKind.NEW_LEG: (
            "Make a new strip for {part}, {to} from fold to fold, to match its side of the fold."
        ),
        MoveKind.LOWER_REST: (
            "Bring the rest{of} down to it: re-score both sides of the parallel fold {by} shorter{others}."
        ),
        MoveKind.SLIDE_TOP: (
            "Lift {part} off the plane and glue it {by} {from_ridge} the ridge: {to} from it."
        ),
        MoveKind.SLIDE_FOOT: "Lift {part} and glue it {by} farther {out}: {to} from the inner foot.",
        MoveKind.TRIM_PLANE: "Trim {by} off the outer edge of {part}.",
        MoveKind.TRIM_CLEAR: (
            "Only if it comes too near to the fore edge when shut: trim the outer edge of {part}, {by} at "
            "most; it then stays {to} (± {known}) inside."
        ),
        MoveKind.LEAVE_NARROW: "Leave {part} {by} narrow if looks allow; only a new plane makes it wider.",
        MoveKind.TRIM_PAGE: "Trim {by} off {part}.",
        MoveKind.NEW_BASE: "Only a new base makes {part} {by} wider.",
        MoveKind.NEW_FOLD: "Make the parallel fold anew, {part} {to} from foot to ridge{as_is}.",
        MoveKind.FOLD_SHORTER: "Re-score {part} {by} shorter: {to} from foot to ridge.",
        MoveKind.NEW_STRIP: "Make {part} anew: {to} from fold to fold.",
        MoveKind.STRIP_SHORTER: "Re-score {part}: {to} from fold to fold.",
        MoveKind.PLACE_TAB: "Lift {part} and glue it {by} {from_ridge} the ridge.",
        MoveKind.PLACE_FOOT: "Lift {part} and glue it {by} {from_spine}.",
        MoveKind.MOVE_PLANE: "Re-glue the plane{of} {by} farther {way}, its crease on the ridge.",
        MoveKind.MOVE_OR_TRIM_PLANE: (
            "Re-glue the plane{of} {by} farther {way}, or trim {by} off its {other_way} half."
        ),
        MoveKind.MOVE_FOLD: "Lift the parallel fold{of} and glue it {by} farther {way}.",
        MoveKind.NEW_RIDGE: (
            "Make the parallel fold{of} anew, its ridge scored {by} farther {way}: sides of {sizes}."
        ),
        MoveKind.FEET_MEASURED: (
            "Measure both inner feet from the spine with a rule: {sizes} are wanted. Lift all feet of the "
            "side that is off and glue them anew: the inner foot there, each outer one as far from it as now."
        ),
        MoveKind.MOVE_FOOT: "Lift inner foot {side} and glue it {by} {from_the_spine}.",
        MoveKind.MOVE_FEET: "Lift the {side} feet and glue them {by} {from_the_spine}.",
        MoveKind.REBUILD_STAGE: "Build stage {stage} anew with the lengths of the design: {listed}.",
        MoveKind.REBUILD: "Build it anew with the lengths of the design: {listed}.",
    }
)
"""What one is told to do."""
_OTHER_LEGS: Final[Mapping[int, str]] = MappingProxyType({0: "", 1: ", the other leg too"})


def move_sentence(move: Move, unit: Unit) -> str:
    """Return a move as an instruction."""
    m, outward = move, move.by_mm > 0
    part = called(m.part)
    return MOVES[m.kind].format(
        part=part,
        as_is=", the other side as it is" if m.changes_mm else "",
        by=_size(m.by_mm, unit),
        to=_size(m.to_mm, unit),
        known=_size(m.expanded_mm, unit),
        out="out" if outward else "in",
        from_ridge="farther from" if outward else "nearer to",
        from_spine="farther out"
        if outward
        else f"nearer to the {'spine' if m.stage == 1 else 'crease below'}",
        from_the_spine="farther from the spine" if outward else "nearer to the spine",
        way="right" if outward else "left",
        other_way="left" if outward else "right",
        side=m.side,
        of=of_stage(m.stage if m.stage > 1 else parsed(m.part).stage),
        stage=m.stage,
        others=_OTHER_LEGS.get(m.other_legs, ", all other legs too"),
        sizes=" and ".join(_size(v, unit) for v in m.sides_mm),
        listed=", ".join(f"{k} {_size(v, unit)}" for k, v in m.sets_mm.items()),
    )


def _size(mm: float, unit: Unit) -> str:
    return unit.words(abs(mm))


def side_effect_words(effect: SideEffect, unit: Unit) -> str:
    """Return in a short phrase what else a move changes."""
    size = _size(effect.mm, unit)
    match effect.kind:
        case SideEffectKind.LOWER:
            return "the plane lies lower"
        case SideEffectKind.OFF_DESIGN:
            return f"{effect.length} stays {size} off the design, matched with its partner"
        case SideEffectKind.STAYS_NARROW:
            return f"{called(effect.length)} stays {size} narrow"
        case SideEffectKind.NARROWER:
            return f"{called(effect.length)} becomes {size} narrower"


def steps(remedy: Remedy, unit: Unit) -> list[str]:
    """Return the moves of a plan one by one. "Leave it" is told as one step."""
    if not remedy.moves:
        return [_leave_it(remedy, unit)]
    return [move_sentence(m, unit) for m in remedy.moves]


def remedy_text(remedy: Remedy, unit: Unit = MM) -> str:
    """Return a plan in one paragraph."""
    return " ".join(steps(remedy, unit))


def side_effects(remedy: Remedy, unit: Unit) -> tuple[str, ...]:
    """Return what else a plan changes, each thing once."""
    return tuple(dict.fromkeys(side_effect_words(s, unit) for s in remedy.side_effects))


def _leave_it(remedy: Remedy, unit: Unit) -> str:
    off = " and ".join(cause_sentence(c, unit) for c in remedy.leaves)
    return "Leave it, if looks allow: it stands level, its sums close and it shuts" + (
        f"; it is only that {off}." if off else "; only a length differs from the design."
    )
