"""What there is to say of a piece beside its outline, as facts; `compare.tell` makes sentences."""

from dataclasses import dataclass
from enum import Enum, auto


class Seen(Enum):
    """From where a piece is drawn."""

    OUTSIDE = auto()  # a strip's outer side, a page from above
    BELOW = auto()
    BEHIND = auto()


@dataclass(frozen=True, slots=True)
class StripSizes:
    """A strip: its panels one after the other and its width along the spine, mm."""

    panels_mm: tuple[float, ...]
    depth_mm: float


@dataclass(frozen=True, slots=True)
class JointsAt:
    """A strip of a drawn linkage: how far from its end each joint lies, mm."""

    at_mm: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class LiesOnNear:
    """A plane on a pillar: glued to the tip of the far V-fold, lying loose on the near one."""


@dataclass(frozen=True, slots=True)
class VPanels:
    """A V-fold: its crease, and each side with its glue line (mm) and its angle to the crease (deg)."""

    crease_mm: float
    sides: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class CopyOfPanel:
    """A leg that copies a V-fold's panel on this side, so long along its near edge, mm."""

    side: str
    leg_mm: float


PieceFact = StripSizes | JointsAt | LiesOnNear | VPanels | CopyOfPanel
