"""What goes wrong with a parallel fold: a foot, its ridge, the whole fold glued off its place."""

from collections.abc import Sequence
from dataclasses import replace

from compare.design.craft.fault import Fault, FaultKind, fault_of_length
from compare.vocabulary import Kind, named, parsed

SIGNS = ("right", 1.0), ("left", -1.0)


def foot_faults(lengths: Sequence[str]) -> list[Fault]:
    """Faults of every inner foot: alone, or with all that was marked from it."""
    out: list[Fault] = []
    for name in lengths:
        if parsed(name).kind == Kind.FOOT:
            out += _foot(name, lengths)
    return out


def _foot(name: str, lengths: Sequence[str]) -> list[Fault]:
    alone = fault_of_length(name)
    spacings = spacings_from(name, lengths)
    if not spacings:
        return [alone]
    n = parsed(name)
    from_spine = {name: 1.0, **dict.fromkeys(spacings, -1.0)}
    return [
        replace(alone, pattern=from_spine),  # the outer foot was marked from the spine
        Fault(  # the outer foot was marked from the inner one, and moved along with it
            kind=FaultKind.FEET_MOVED,
            name=n.other(Kind.FEET),
            stage=n.stage,
            side=n.side,
            pattern={name: 1.0},
            weight=0.5,
        ),
    ]


def spacings_from(foot: str, lengths: Sequence[str]) -> list[str]:
    """Return the page spacings that count from this inner foot."""
    n = parsed(foot)
    out = []
    for name in lengths:
        m = parsed(name)
        if m.kind == Kind.PAGE_SPACING and (m.stage, m.side) == (n.stage, n.side):
            out.append(name)
    return out


def fold_faults(stage: int, lengths: Sequence[str]) -> list[Fault]:
    """Faults of a whole fold, both sides at once."""
    out: list[Fault] = []
    folds = {named(Kind.FOLD, s, stage=stage): -way for s, way in reversed(SIGNS)}
    if all(k in lengths for k in folds):
        name = named(Kind.RIDGE_SCORE, stage=stage)
        out.append(Fault(kind=FaultKind.RIDGE_SCORE, name=name, stage=stage, pattern=folds))
    moved = {named(Kind.FOOT, s, stage=stage): way for s, way in SIGNS}
    if all(k in lengths for k in moved):
        for foot, way in tuple(moved.items()):
            moved |= dict.fromkeys(spacings_from(foot, lengths), -way)
        name = named(Kind.FOLD_POSITION, stage=stage)
        out.append(Fault(kind=FaultKind.FOLD_POSITION, name=name, stage=stage, pattern=moved))
    return out
