"""How to make two lengths equal that must be: either of them can be changed; what the plane then does.

The half of a plane is a four-bar (inner foot, outer foot, leg top, ridge); its closed form and where that
comes from are in `compare.design.linkage.four_bar`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from compare.design.linkage.four_bar import four_bar
from compare.vocabulary import Told, told_of
from compare.without_spec.craft_rules import Leg, Pair
from compare.without_spec.traced_lengths import TracedLengths


class MendKind(Enum):
    """What one does at the bench."""

    LEG_SHORTER = auto()
    NEW_LEG = auto()
    FOLD_SHORTER = auto()
    NEW_FOLD = auto()
    TOP_IN = auto()
    TOP_OUT = auto()
    FOOT_IN = auto()
    FOOT_OUT = auto()


CUTTING = frozenset({MendKind.LEG_SHORTER, MendKind.NEW_LEG, MendKind.FOLD_SHORTER, MendKind.NEW_FOLD})
"""What wants a knife or a scoring tool; the others want glue."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One way to make a pair equal.

    Attributes
    ----------
    kind : what is done. length : to which length.
    by_mm, to_mm : how much, and how long it is then.
    lean_deg : lean of this half afterwards, if nothing else is done; nan if that is not known.
    """

    kind: MendKind
    length: str
    by_mm: float
    to_mm: float
    lean_deg: float

    @property
    def cuts(self) -> bool:
        """Whether it wants a knife or a scoring tool."""
        return self.kind in CUTTING


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelLean:
    """Lean of a half as its lengths make it at the measured angle of the fold, and as it is.

    Attributes
    ----------
    leg : the loop. lengths : mm. fold_rad : angle of the fold's side to its page.
    seen_deg : lean measured.
    """

    leg: Leg
    lengths: Mapping[str, float]
    fold_rad: float
    seen_deg: float

    @property
    def now_deg(self) -> float:
        """Lean that the measured lengths make."""
        return self._of(self.lengths)

    def with_equal(self, pair: Pair) -> float:
        """Lean that the lengths make once the first of a pair is as long as the second."""
        return self._of({**self.lengths, pair.first: self.lengths[pair.second]})

    def after(self, length: str, to_mm: float) -> float:
        """Lean to be seen once one length is changed: as it is now, and what the change makes."""
        return self.seen_deg + self._of({**self.lengths, length: to_mm}) - self.now_deg

    def _of(self, lengths: Mapping[str, float]) -> float:
        leg = self.leg
        _, at_ridge = four_bar(
            lengths[leg.page_spacing],
            lengths[leg.fold],
            lengths[leg.leg],
            lengths[leg.plane_spacing],
            self.fold_rad,
        )
        return float(np.degrees(self.fold_rad - at_ridge))


def model_lean(leg: Leg, measured: TracedLengths) -> ModelLean | None:
    """Return the lean a leg's loop makes; None unless all of it was measured."""
    names = (leg.leg, leg.fold, leg.page_spacing, leg.plane_spacing)
    lean, fold = (measured.angles.get(k) for k in (told_of(Told.LEAN, leg.side), leg.fold))
    if lean is None or fold is None or any(k not in measured.lengths for k in names):
        return None
    return ModelLean(
        leg=leg,
        lengths={k: measured.lengths[k].value for k in names},
        fold_rad=fold.value,
        seen_deg=float(np.degrees(lean.value)),
    )


def mends_of(
    pair: Pair, leg: Leg, measured: TracedLengths, lean: ModelLean | None, *, first: str = ""
) -> tuple[Mend, ...]:
    """Return both ways to make a pair equal; that of the length `first`, if it is one of them, leads."""
    a, b = (measured.lengths[k].value for k in (pair.first, pair.second))
    longer = a > b
    if pair.first == leg.leg:
        kinds = (
            MendKind.LEG_SHORTER if longer else MendKind.NEW_LEG,
            MendKind.NEW_FOLD if longer else MendKind.FOLD_SHORTER,
        )
    else:
        kinds = (
            MendKind.TOP_IN if longer else MendKind.TOP_OUT,
            MendKind.FOOT_OUT if longer else MendKind.FOOT_IN,
        )
    ways = [
        Mend(
            kind=kind,
            length=name,
            by_mm=abs(a - b),
            to_mm=to,
            lean_deg=float("nan") if lean is None or name == leg.fold else lean.after(name, to),
        )
        for kind, name, to in zip(kinds, (pair.first, pair.second), (b, a), strict=True)
    ]
    return tuple(sorted(ways, key=lambda m: m.length != first)) if first else tuple(ways)
