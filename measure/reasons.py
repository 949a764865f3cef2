"""Why something was not measured, and what to know of what was: kinds with their data, no sentences."""

from dataclasses import dataclass
from enum import Enum, auto


class Unseen(Enum):
    """Why a panel or a joint was not measured; behind each, what its `WhyUnseen` says besides."""

    # panels
    NO_TRACE = auto()
    FEW_PLACES = auto()  # n_seen of n_tried stations show its near end
    FEW_AGREE = auto()  # n_seen of n_tried stations agree, and those not well
    FAINT = auto()
    NO_STRAIGHT_EDGE = auto()  # mm: scatter of what was found in its place
    LEG_GOES_ON = auto()  # names: the leg that goes on beyond what was found in its place
    MISSES_RIDGE = auto()  # mm: by how much what was found in its place does
    NOT_FOUND = auto()
    INK_UNSEEN = auto()
    INK_FEW_PLACES = auto()  # n_seen of n_tried stations show its inked near end
    NO_EVEN_LINE = auto()  # mm: scatter of what was found in its place
    BOWED = auto()  # mm
    # joints
    PANELS_MISSING = auto()  # names: the panels through it that were not found
    SPINE_UNMARKED = auto()
    NOT_LOOKED_FOR = auto()
    PANEL_LEFT_OUT = auto()
    PLANE_END_UNSURE = auto()
    LOOKS_DIFFER = auto()
    OFF_THE_PLANE = auto()
    FOOT_UNSURE = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyUnseen:
    """Why one panel or joint was not measured.

    Attributes
    ----------
    kind : the reason.
    names : panels it is about.
    n_seen, n_tried : stations that show it, and stations tried.
    mm : how much it is off.
    """

    kind: Unseen
    names: tuple[str, ...] = ()
    n_seen: int = 0
    n_tried: int = 0
    mm: float = 0.0


class Noted(Enum):
    """What the user should know of a measurement; behind each, what its `Note` says besides."""

    PAGE_FAINT = auto()  # names: pages whose edge hardly shows
    HAND_DIFFERS = auto()  # names: the joint; mm: how far from where the photo's edges put it
    # a dummy without a design
    UNNAMED = auto()  # no construction recognised
    UPPER_STAGE = auto()  # something stands on the plane that was not traced
    HALF_WITHOUT_LEG = auto()  # names: side
    HALF_UNCLEAR = auto()  # names: side
    LEGS_LEFT_OUT = auto()  # names: the legs
    JOINT_LOOKS_DIFFER = auto()  # names: the joint
    JOINT_OFF_PLANE = auto()  # names: the joint
    # a shut dummy
    WIDER_PAGE = auto()  # names: the edge; mm: how far the page lies beyond its designed size; size_mm: that
    WHOLE_EDGE = auto()  # names: the edge; mm: how far the outline lies beyond it; size_mm: the page's


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One thing to know of a measurement.

    Attributes
    ----------
    kind : what.
    names : panels, joints, sides or edges it is about.
    mm, size_mm : by how much; of what size.
    """

    kind: Noted
    names: tuple[str, ...] = ()
    mm: float = 0.0
    size_mm: float = 0.0
