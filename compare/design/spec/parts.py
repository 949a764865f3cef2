"""What every spec gives, whatever is built: base, card, tolerance. Lengths in mm, angles in degrees."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Two pages and the spine: page widths (spine to fore edge), depth head to tail, opening (degrees).

    setback : how far the strips' near ends stand back from the pages' near edge, mm; None if not told.
    """

    page_left: float
    page_right: float
    depth: float | None
    opening_deg: float
    thickness: float
    setback: float | None = None

    def page(self, side: str) -> float:
        """Return the width of one page, spine to fore edge, mm."""
        return self.page_left if side == "left" else self.page_right


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The card of strips and plane: thickness, length of a strip along the spine, spread (sd) of its end.

    tab : width of the gluing tabs; those of the inner feet point towards the spine and must not cross it;
        nan if the spec does not say.
    """

    thickness: float
    strip_depth: float
    near_end_spread: float
    tab: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What is allowed: +- on a length, a matched pair (mm) and level (degrees); least clearance (mm).

    lengths : length name -> +- for that length alone (degrees for an angle).
    spread : how the builder's lengths scatter (standard deviation, mm); nan = by the way of cutting.
    spreads : length name -> the same for that length alone.
    hand : the least a hand re-glues or trims by, mm; smaller steps are left out of a repair.
    """

    length: float
    matched: float
    level_deg: float
    clearance: float
    lengths: Mapping[str, float] = field(default_factory=dict)
    spread: float = float("nan")
    spreads: Mapping[str, float] = field(default_factory=dict)
    hand: float = 0.3

    def of(self, name: str) -> float:
        """Return what is allowed on one length, mm (degrees for an angle)."""
        return self.lengths.get(name, self.length)
