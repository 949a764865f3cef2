"""What the craft asks of a dummy whatever its size: what must equal what.

A half of the plane lies parallel to its page at every opening if its leg is as long as its side of the fold
and stands as far out on the plane as on the page; the dummy shuts flat if the sums round every loop agree.
None of it needs a nominal length. Whether left and right were meant alike only the builder knows.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from compare.vocabulary import (
    Kind,
    Told,
    closing_rule,
    equality,
    feet_equality,
    named,
    parsed,
    told_of,
)
from measure.layout import Role
from measure.sides import SIDES
from measure.tracing.trace_dummy import Traced


class As(StrEnum):
    """What a dummy without a spec is taken for."""

    PARALLEL_FOLD = "parallel-fold"
    OBLIQUE = "oblique"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two lengths that must be equal: the leg's own first, its pattern second."""

    first: str
    second: str

    @property
    def name(self) -> str:
        """The rule as it is spelled: "leg = fold left"."""
        return equality(self.first, self.second)


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum round a loop: length -> +1 or -1."""

    name: str
    terms: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One leg and the lengths of its loop."""

    side: str
    leg: str
    fold: str
    page_spacing: str
    plane_spacing: str
    number: int

    @property
    def pairs(self) -> tuple[Pair, Pair]:
        """What keeps the plane parallel to its page."""
        return Pair(self.leg, self.fold), Pair(self.plane_spacing, self.page_spacing)

    @property
    def loop(self) -> Sum:
        """What lets it shut: fold and plane spacing against page spacing and leg."""
        terms = {self.fold: 1.0, self.plane_spacing: 1.0, self.page_spacing: -1.0, self.leg: -1.0}
        return Sum(told_of(Told.CLOSING_SUM, closing_rule(self.side, self.number)), terms)


def legs_of(traced: Traced) -> tuple[Leg, ...]:
    """Return the legs of a dummy as traced, from left to right by side, from the ridge outwards."""
    out: list[Leg] = []
    for side in SIDES:
        panels = [p.name for p in traced.layout.panels if p.role is Role.LEG and p.side == side]
        for name in sorted(panels, key=lambda n: parsed(n).number):
            n = parsed(name)
            out.append(
                Leg(
                    side=side,
                    leg=name,
                    fold=n.other(Kind.FOLD, numbered=False),
                    page_spacing=n.other(Kind.PAGE_SPACING),
                    plane_spacing=n.other(Kind.PLANE_SPACING),
                    number=n.number,
                )
            )
    return tuple(out)


def feet_sum_of() -> Sum:
    """Return what lets the fold itself shut: foot and side on the left against those on the right."""
    terms = {
        named(kind, side): sign
        for side, sign in zip(SIDES, (1.0, -1.0), strict=True)
        for kind in (Kind.FOOT, Kind.FOLD)
    }
    return Sum(feet_equality(), terms)
