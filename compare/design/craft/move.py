"""A move of the trade: one thing to do at the bench about a fault, with all that it changes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, IntEnum, auto
from typing import Final


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
    FEET_MEASURED = auto()  # both inner feet measured from the spine, and put where they belong
    MOVE_FOOT = auto()  # an inner foot, what was marked from the spine stays
    MOVE_FEET = auto()  # an inner foot with all that was marked from it
    REBUILD_STAGE = auto()
    REBUILD = auto()


DRY: Final = (MoveKind.TRIM_PLANE, MoveKind.TRIM_CLEAR, MoveKind.TRIM_PAGE, MoveKind.LEAVE_NARROW)
"""What is done without glue."""


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
    sides_mm : both sides of a fold whose ridge is scored anew; where both feet belong.
    other_legs : how many legs are re-scored along.
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
    changes_mm: Mapping[str, float] = field(default_factory=dict)
    sets_mm: Mapping[str, float] = field(default_factory=dict)
    cuts: bool
    effort: Effort
    side_effects: tuple[SideEffect, ...] = ()

    @property
    def glues(self) -> bool:
        """True if it needs glue."""
        return self.kind not in DRY
