"""What there is to say of a design, as facts: kinds and numbers; `compare.tell.words` makes sentences.

A concern is wrong with a design or may surprise its author; a remark is worth knowing of a sound one too.
A construction that has facts of its own defines them in its folder. Lengths in mm, angles in degrees.
"""

from dataclasses import dataclass
from enum import Enum

from compare.design.linkage.mechanism import Loop


@dataclass(frozen=True, slots=True)
class Fact:
    """Something to say of a design."""


class Meeting(Enum):
    """How card meets card."""

    LIES_ON = "lies on"
    HALVES_MEET = "halves meet"
    MEETS = "meets"
    APART = "no longer meet"  # the lengths no longer reach


@dataclass(frozen=True, slots=True)
class Contact:
    """What touches what: a panel or joint, and the panel it touches ("" where the kind tells)."""

    kind: Meeting
    one: str = ""
    other: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unclosed(Fact):
    """A loop whose two sums differ: the design does not shut flat."""

    loop: Loop
    one: float
    other: float
    in_degrees: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning(Fact):
    """A half of a plane that leans by design, at the design's opening."""

    half: str
    lean_deg: float
    opening_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LegDisagrees(Fact):
    """A leg that would have to be longer (or shorter: negative) to agree with what else holds its half.

    copies_panel : it must copy the panel of a V-fold, rather than agree with other legs.
    """

    leg: str
    more_mm: float
    copies_panel: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LittleRoomShut(Fact):
    """Shut, card stays only so far inside a fore edge; negative = it sticks out."""

    side: str
    spare_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Jams(Fact):
    """Closing, card first meets card at this opening; contact is None if nothing can be told."""

    opening_deg: float
    contact: Contact | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OpensTo(Fact):
    """It opens so far and no farther."""

    opening_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SticksOutMoving(Fact):
    """Half-open, card reaches beyond a fore edge."""

    side: str
    joint: str
    opening_deg: float
    over_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SticksOutAtEnd(Fact):
    """Card reaches beyond the "near" or the "far" end of the base."""

    end: str
    opening_deg: float
    over_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PassesThrough(Fact):
    """Two panels that pass through each other, from one opening to another."""

    one: str
    other: str
    from_deg: float
    to_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ObliqueByDesign(Fact):
    """A half drawn oblique on purpose: leg and plane spacing are longer by this; its lean open and shut.

    shut_at_deg : the opening up to which it can be followed, 0 if it shuts.
    """

    half: str
    more_mm: float
    open_deg: float
    shut_deg: float
    shut_at_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthUnknown(Fact):
    """The base's depth is not given, so nothing can be said about head and tail."""
