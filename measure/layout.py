"""What the design lets us expect in the photo: joints, and straight panels that run through them.

The type lives here, its content is made by the compare room from the spec, so that measuring can be
guided by the design without knowing any mechanism.
"""

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from capture.arrays import Array

FLAT_DEG = 8.0
"""Pages that make less than this with each other look like one line; found on path-traced photographs."""


class Role(Enum):
    """What a panel is, as far as finding its near end in a photo goes."""

    PAGE = "page"
    FOLD = "fold"  # a side of the parallel fold
    LEG = "leg"
    PLANE = "plane"


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A straight piece of card seen end-on, and the joints it runs through, in order along it.

    Attributes
    ----------
    name : e.g. "leg right".
    joints : two or more joint names in order; for the plane: ridge, leg top, plane edge.
    role : what it is.
    side : "left" or "right"; "" for what belongs to neither.
    free_end : True if the last joint is a cut edge of the card and not a fold.
    """

    name: str
    joints: tuple[str, ...]
    role: Role
    side: str = ""
    free_end: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The card a dummy is made of, mm; the defaults are what is assumed where no design tells it.

    Attributes
    ----------
    card_mm, base_mm : thickness of strips and plane, and of the base pages.
    depth_mm : length of the strips along the spine (how far a panel reaches back from its near end).
    near_end_sd_mm : how unevenly the near ends are cut (standard deviation, along the spine).
    """

    card_mm: float = 0.3
    base_mm: float = 0.3
    depth_mm: float = 60.0
    near_end_sd_mm: float = 0.5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Layout:
    """Expected joints and panels.

    Attributes
    ----------
    joint_names : names, in the order of `xy_mm`.
    xy_mm : (J, 2) nominal positions, spine at the origin, x to the right page, y up; all joints lie in the
        middle surface of the strip folded there.
    panels : the panels; pages are panels too (spine, feet, fore edge).
    opening_deg : nominal angle between the pages.
    card_mm : thickness of the card of strips and plane.
    depth_mm : length of the strips along the spine (how far a panel reaches back from its near end).
    base_mm : thickness of the base pages.
    setback_mm : how far the near ends stand back from the pages' near edge; None if not told.
    other_openings : (opening in degrees, joints as in `xy_mm`) at which the photo may show it instead.
    near_end_sd_mm : how unevenly the near ends are cut (standard deviation, along the spine).
    heights_known : False where no design tells how long strips are: then they do not tell the page's level.
    """

    joint_names: tuple[str, ...]
    xy_mm: Array
    panels: tuple[Panel, ...]
    opening_deg: float
    card_mm: float
    depth_mm: float
    near_end_sd_mm: float
    base_mm: float = 0.3
    setback_mm: float | None = None
    other_openings: tuple[tuple[float, Array], ...] = ()
    heights_known: bool = True

    @property
    def card(self) -> Card:
        """The card it is made of."""
        return Card(
            card_mm=self.card_mm,
            base_mm=self.base_mm,
            depth_mm=self.depth_mm,
            near_end_sd_mm=self.near_end_sd_mm,
        )

    @property
    def lies_flat(self) -> bool:
        """Whether the spread lies flat, near enough for its pages to look like one line."""
        return abs(180.0 - self.opening_deg) < FLAT_DEG

    def length(self, a: str, b: str) -> float:
        """Nominal distance between two joints, mm."""
        return float(np.hypot(*(self.at(b) - self.at(a))))

    def free_ends(self, role: Role) -> frozenset[str]:
        """Joints at the cut edges of the panels of this role, such as fore edges of pages."""
        return frozenset(p.joints[-1] for p in self.panels if p.role is role and p.free_end)

    def openings(self) -> list["Layout"]:
        """Return this layout at its nominal opening and at every other it may be seen at."""
        others = [
            replace(self, opening_deg=deg, xy_mm=xy, other_openings=()) for deg, xy in self.other_openings
        ]
        return [replace(self, other_openings=()), *others]

    def at(self, joint: str) -> Array:
        """Nominal position (2,) of a joint, mm."""
        out: Array = self.xy_mm[self.joint_names.index(joint)]
        return out

    @staticmethod
    def of_nothing(card: Card) -> "Layout":
        """Return the layout of an unknown dummy: no joints, only its card."""
        return Layout(
            joint_names=(),
            xy_mm=np.zeros((0, 2)),
            panels=(),
            opening_deg=180.0,
            card_mm=card.card_mm,
            depth_mm=card.depth_mm,
            near_end_sd_mm=card.near_end_sd_mm,
            base_mm=card.base_mm,
        )
