"""The names of lengths, joints, panels, halves and what is told of them: the one place that spells them.

A name is written "stage 2 leg 1 right": stage, kind, number, side, each left out where there is only one. A
quantity of something stands in front of it: "lean stage 2 right", "clearance left", "closing sum flap left".
The halves of a plane are named by stage and side alone. Dictionaries are keyed by the spelling, so that files
and people see one and the same name; code that wants a part of a name asks `parsed` for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from measure.sides import SIDES, opposite


class Kind(StrEnum):
    """What is named. A linkage that its author has drawn may have kinds of its own."""

    # lengths of card; a panel goes by the name of the length it has
    FOLD = "fold"
    LEG = "leg"
    PLANE = "plane"
    PAGE = "page"
    SUPPORT = "support"
    FLAP = "flap"
    STRAP = "strap"
    VFOLD = "vfold"
    CREASE = "crease"
    CREASE_NEAR = "crease near"
    CREASE_FAR = "crease far"
    WIDTH = "width"
    # where something is glued
    FOOT = "foot"
    FEET = "feet"
    PAGE_SPACING = "page spacing"
    PLANE_SPACING = "plane spacing"
    SUPPORT_FOOT = "support foot"
    SUPPORT_TAB = "support tab"
    FLAP_HINGE = "flap hinge"
    VFOLD_FOOT = "vfold foot"
    VFOLD_TOP = "vfold top"
    GAP = "gap"
    HEIGHT = "height"
    # angles drawn on card
    GLUE_ANGLE = "glue angle"
    PANEL_ANGLE = "panel angle"
    VFOLD_ANGLE = "vfold angle"
    PLANE_ANGLE = "plane angle"
    # joints that are no end of a length by their own name
    SPINE = "spine"
    RIDGE = "ridge"
    APEX = "apex"
    INNER_FOOT = "inner foot"
    OUTER_FOOT = "outer foot"
    LEG_TOP = "leg top"
    PLANE_EDGE = "plane edge"
    FORE_EDGE = "fore edge"
    SUPPORT_TOP = "support top"
    STRAP_END = "strap end"
    VFOLD_POINT = "vfold point"
    VFOLD_TIP = "vfold tip"
    NEAR_POINT = "near point"
    NEAR_FOOT = "near foot"
    NEAR_TIP = "near tip"
    FAR_POINT = "far point"
    FAR_FOOT = "far foot"
    FAR_TIP = "far tip"
    # faults that touch several lengths at once
    RIDGE_SCORE = "ridge score"
    FOLD_POSITION = "fold position"
    CREASE_OFF = "crease off the ridge"


class Told(StrEnum):
    """What is told of a half, a side or a closing rule; longer names first, as they are looked for."""

    LEAN = "lean"
    CLEARANCE = "clearance"
    CLOSING_SUM = "closing sum"
    CLOSING = "closing"


@dataclass(frozen=True, slots=True)
class Name:
    """A name in parts; `str` spells it.

    Attributes
    ----------
    kind : a `Kind`, or words of the author of a drawn linkage; "" for a half of a plane, or a side.
    side : "left", "right", or "".
    stage : 1 for what stands on the base, 2 for what stands on its plane ...
    number : 1, 2 ... from the ridge outwards where there are several; 0 where there is but one.
    told : the quantity that is told of it; "" for the thing itself.
    """

    kind: str = ""
    side: str = ""
    stage: int = 1
    number: int = 0
    told: str = ""

    def __str__(self) -> str:
        stage = f"stage {self.stage}" if self.stage > 1 else ""
        number = str(self.number) if self.number else ""
        return " ".join(part for part in (self.told, stage, self.kind, number, self.side) if part)

    @property
    def about(self) -> str:
        """The name of what it is told of: "stage 2 right" of "lean stage 2 right"."""
        return str(replace(self, told=""))

    @property
    def half(self) -> str:
        """The half of the plane it belongs to, by stage and side."""
        return named("", self.side, stage=self.stage)

    @property
    def mirrored(self) -> str:
        """The name of the same on the other side; "" if it lies on neither."""
        return str(replace(self, side=opposite(self.side))) if self.side else ""

    @property
    def sideless(self) -> str:
        """The name of the whole of which it is one side."""
        return str(replace(self, side=""))

    @property
    def bare(self) -> str:
        """Kind and number, without stage and side."""
        return named(self.kind, number=self.number)

    @property
    def is_ridge(self) -> bool:
        """Whether it is the joint at the top of a fold."""
        return self.kind.split(" ")[-1] == Kind.RIDGE

    @property
    def is_top(self) -> bool:
        """Whether it is a ridge, or the apex that a drawn linkage has in its place."""
        return self.is_ridge or self.kind == Kind.APEX

    @property
    def on_plane(self) -> bool:
        """Whether it is a plane or lies along one."""
        return self.kind.split(" ")[0] == Kind.PLANE

    @property
    def is_glued(self) -> bool:
        """Whether it is placed by hand with glue, not cut or scored."""
        return not {"spacing", Kind.FOOT, Kind.FEET, "tab"}.isdisjoint(self.kind.split(" "))

    @property
    def is_page(self) -> bool:
        """Whether it is a page or, in a drawn linkage, one of the lengths along it."""
        return self.kind.split(" ")[0] == Kind.PAGE and self.kind != Kind.PAGE_SPACING

    @property
    def is_angle(self) -> bool:
        """Whether it is an angle drawn on card, in degrees and not in mm."""
        return self.kind.split(" ")[-1] == "angle"

    @property
    def compares(self) -> bool:
        """Whether it is no single length but two that must agree."""
        return "=" in self.kind.split(" ") or self.told in (Told.CLOSING_SUM, Told.CLOSING)

    def other(self, kind: str, *, numbered: bool = True, side: str = "") -> str:
        """Return the name of another length of the same construction (and leg, if numbered)."""
        return str(Name(kind, side or self.side, self.stage, self.number if numbered else 0))


@lru_cache(maxsize=4096)
def parsed(text: str) -> Name:
    """Take a name apart. What is spelled otherwise than by this house is all kind."""
    for told in Told:
        if text.startswith(f"{told} "):
            out = replace(_parts(text.removeprefix(f"{told} ")), told=told)
            return out if str(out) == text else Name(text)
    return _parts(text)


def _parts(text: str) -> Name:
    words = text.split(" ")
    side = words.pop() if words[-1] in SIDES else ""
    stage, number = 1, 0
    if len(words) > 1 and words[0] == "stage" and words[1].isdecimal():
        stage, words = int(words[1]), words[2:]
    if len(words) > 1 and words[-1].isdecimal():
        number = int(words.pop())
    out = Name(" ".join(words), side, stage, number)
    return out if str(out) == text else Name(text)


@lru_cache(maxsize=4096)
def named(kind: str, side: str = "", number: int = 0, *, stage: int = 1) -> str:
    """Spell the name of a length, a joint or a panel."""
    return str(Name(kind, side, stage, number))


def told_of(told: Told, about: str) -> str:
    """Spell the name of a quantity of a half, a side or a closing rule."""
    return f"{told} {about}"


def half_of_panel(panel: str) -> str:
    """Return the name of the half that a drawn panel makes: "roof left" of "plane roof left"."""
    return panel.removeprefix(f"{Kind.PLANE} ")


def leg_numbers(count: int) -> tuple[int, ...]:
    """Return 0 for one leg, 1, 2, ... for several, from the ridge outwards."""
    return (0,) if count == 1 else tuple(range(1, count + 1))


def equality(one: str, other: str) -> str:
    """Spell the rule that two lengths of one side must agree: "stage 2 leg = fold left"."""
    n = parsed(one)
    return f"{named(n.kind, number=n.number, stage=n.stage)} = {parsed(other).bare} {n.side}"


def closing_rule(side: str, leg: int = 0, *, stage: int = 1) -> str:
    """Spell the closing rule of a half, or of one of its several legs: "right, leg 1"."""
    half = named("", side, stage=stage)
    return f"{half}, {named(Kind.LEG, number=leg)}" if leg else half


def feet_equality(stage: int = 1) -> str:
    """Spell the rule that both sides of a parallel fold reach the same ridge when shut."""
    left = named(f"{Kind.FOOT} + {Kind.FOLD},", "left", stage=stage)
    return f"{left} = right"


PAGES: Final = (named(Kind.PAGE, "left"), named(Kind.PAGE, "right"))

FORE_EDGES: Final[Mapping[str, str]] = MappingProxyType({f"{side} {Kind.FORE_EDGE}": side for side in SIDES})
"""The fore edges of a shut spread as they are told, each with its side."""
