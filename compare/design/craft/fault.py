"""A fault of cutting or gluing: what went wrong, and the pattern it leaves on the lengths.

A strip cut wrong spoils one length. A piece glued in the wrong place spoils several at once: the plane's
crease glued off the ridge makes one plane spacing too long and the other too short by the same amount. Each
pattern is written per millimetre of the fault, in the lengths of the linkage.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, auto

from compare.vocabulary import Kind, parsed


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


def fault_of_length(name: str) -> Fault:
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
