"""What goes wrong when a dummy is cut and glued: each fault as the pattern it leaves on the lengths.

A strip cut wrong spoils one length. A piece glued in the wrong place spoils several at once: the plane's
crease glued off the ridge makes one plane spacing too long and the other too short by the same amount. Each
pattern is written per millimetre of the fault, in the lengths of the linkage.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum, auto

from compare.design.linkage.mechanism import Mechanism
from compare.quantities.measured import feet_lengths
from compare.vocabulary import Kind, named, parsed


class FaultKind(Enum):
    """What went wrong."""

    LENGTH = auto()  # one length cut, scored or placed wrong
    FEET_MOVED = auto()  # an inner foot glued wrong, with all that was marked from it
    FEET_APART = auto()  # the two inner feet, where nobody can say which of them is wrong
    RIDGE_SCORE = auto()  # scored off its place
    FOLD_POSITION = auto()  # the whole parallel fold glued off its place
    CREASE = auto()  # of the plane, glued off the ridge


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A single fault.

    Attributes
    ----------
    kind : what went wrong.
    name : short name; for a fault of one length the length's own name.
    stage, side : the construction it belongs to (1 for the first), and the side; "" if both.
    pattern : length -> change per mm of the fault.
    weight : how much likelier than other faults before anything is measured (1 = like the others).
    """

    kind: FaultKind
    name: str
    stage: int = 1
    side: str = ""
    pattern: Mapping[str, float]
    weight: float = 1.0


def _single(name: str) -> Fault:
    """Return the fault of one length alone."""
    n = parsed(name)
    weight = 0.5 if n.kind == Kind.PAGE else 1.0  # pages are cut with a guillotine, or bought
    return Fault(
        kind=FaultKind.LENGTH,
        name=name,
        stage=n.stage,
        side=n.side,
        pattern={name: 1.0},
        weight=weight,
    )


def _foot(name: str, lengths: Mapping[str, float]) -> list[Fault]:
    """Faults of an inner foot: alone, or with all that was marked from it."""
    alone = _single(name)
    spacings = _spacings(name, lengths)
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


def _spacings(foot: str, lengths: Mapping[str, float]) -> list[str]:
    """Return the page spacings that count from this inner foot."""
    n = parsed(foot)
    out = []
    for name in lengths:
        m = parsed(name)
        if m.kind == Kind.PAGE_SPACING and (m.stage, m.side) == (n.stage, n.side):
            out.append(name)
    return out


def _shared(stage: int, lengths: Mapping[str, float]) -> list[Fault]:
    """Faults that touch both halves of one construction."""
    sides = ("right", 1.0), ("left", -1.0)
    out: list[Fault] = []
    folds = {named(Kind.FOLD, s, stage=stage): -way for s, way in reversed(sides)}
    if all(k in lengths for k in folds):
        name = named(Kind.RIDGE_SCORE, stage=stage)
        out.append(Fault(kind=FaultKind.RIDGE_SCORE, name=name, stage=stage, pattern=folds))
    moved = {named(Kind.FOOT, s, stage=stage): way for s, way in sides}
    if all(k in lengths for k in moved):
        for foot, way in tuple(moved.items()):
            moved |= dict.fromkeys(_spacings(foot, lengths), -way)
        name = named(Kind.FOLD_POSITION, stage=stage)
        out.append(Fault(kind=FaultKind.FOLD_POSITION, name=name, stage=stage, pattern=moved))
    edges = {named(Kind.PLANE, s, stage=stage): way for s, way in sides}
    spacing: dict[str, float] = {}
    for name in lengths:
        n = parsed(name)
        if n.kind == Kind.PLANE_SPACING and n.stage == stage:
            spacing[name] = 1.0 if n.side == "right" else -1.0
    if all(k in lengths for k in edges) and len({parsed(k).side for k in spacing}) == 2:
        # legs glued at marks on the plane move with it; legs glued where they stand leave only its edges off
        for pattern, weight in (({**spacing, **edges}, 1.0), (edges, 1.0), (spacing, 0.5)):
            out.append(
                Fault(
                    kind=FaultKind.CREASE,
                    name=named(Kind.CREASE_OFF, stage=stage),
                    stage=stage,
                    pattern=pattern,
                    weight=weight,
                )
            )
    return out


def _apart(feet: tuple[str, str]) -> Fault:
    """Where the spine is not seen, nobody can say which of the two feet is wrong."""
    return Fault(kind=FaultKind.FEET_APART, name=Kind.FEET, pattern=dict.fromkeys(feet, 0.5))


def faults_of(mechanism: Mechanism, *, spine_seen: bool) -> tuple[Fault, ...]:
    """Return all single faults of a dummy that an end-on photo can show.

    Without the spine a moved foot shows only in the distance of the feet; the fault that says so then
    comes first, so that it stands for all those that look the same.
    """
    lengths = {k: v for k, v in mechanism.lengths.items() if k in mechanism.ends}
    feet = feet_lengths(mechanism)
    out = [] if spine_seen or feet is None else [_apart(feet)]
    feet_last: list[Fault] = []
    for name in lengths:
        if parsed(name).kind == Kind.FOOT:
            feet_last += _foot(name, lengths)
        else:
            out.append(_single(name))
    out += feet_last
    for stage in dict.fromkeys(parsed(k).stage for k in lengths):
        out += _shared(stage, lengths)
    return tuple(out)
