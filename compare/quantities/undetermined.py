"""Why something is not determined by a photo, or what was assumed in its place."""

from dataclasses import dataclass
from enum import Enum, auto

from measure.reasons import WhyUnseen


class Why(Enum):
    """The reason; `names` of a `Reason` say what it is about."""

    NOT_SEEN = auto()
    JOINT_NOT_FOUND = auto()  # joint
    HALF_MISREAD = auto()  # half, and the joint its line does not come to
    HALF_NOT_FOUND = auto()  # a half of the plane, or its page
    LENGTH_MISSING = auto()  # a length that it needs
    EDGE_NOT_SEEN = auto()  # the outer edge of the plane
    # what was assumed
    FEET_SHARED_OUT = auto()  # their distance, as in the design
    COUNTED_FROM_FOOT = auto()
    FROM_DESIGN = auto()
    PAGE_FROM_DESIGN = auto()
    OPENING_FROM_DESIGN = auto()


@dataclass(frozen=True, slots=True)
class Reason:
    """Why, and what it is about."""

    why: Why
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rests:
    """Something rests on a length that is not determined, for this reason."""

    length: str
    reason: Reason | WhyUnseen


Undetermined = Reason | Rests | WhyUnseen
"""A reason of this room, or what measuring says of a joint."""
