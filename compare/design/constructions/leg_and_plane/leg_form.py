"""The leg and the floating plane, which several constructions have alike: data, form, reading, checks."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.compare_errors import SpecError
from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec import Spec
from compare.design.spec.spec_tables import Table, Tables
from compare.vocabulary import Kind as Kinds
from compare.vocabulary import parsed
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One leg, and its distances from the fold along the page and along the plane."""

    leg: float
    page_spacing: float
    plane_spacing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The floating plane: ridge to outer edge on either side; 0 = no half on that side."""

    left: float
    right: float

    def half(self, side: str) -> float:
        """Return ridge to outer edge on one side, mm."""
        return self.left if side == "left" else self.right


LEG_KEYS: Final[Mapping[str, Key]] = {
    "leg": Key(Kind.LENGTH, "the leg, outer foot to leg top"),
    "page_spacing": Key(Kind.LENGTH, "inner foot to outer foot, along the page"),
    "plane_spacing": Key(Kind.LENGTH, "ridge to leg top, along the plane"),
}
SIDE: Final = Form("what holds this half of the plane", LEG_KEYS)
PLANE: Final = Form(
    "the floating plane",
    {
        "left": Key(Kind.LENGTH, "ridge to its left edge", zero=True),
        "right": Key(Kind.LENGTH, "ridge to its right edge", zero=True),
    },
)
CARRIED: Final[Mapping[str, Form]] = {"left": SIDE, "right": SIDE, "plane": PLANE}
"""Tables of what a V-fold or a pillar carries."""


_KEY: Final = {Kinds.LEG: "leg", Kinds.PAGE_SPACING: "page_spacing", Kinds.PLANE_SPACING: "plane_spacing"}


def carried_key(name: str) -> tuple[str, str] | None:
    """Return table and key of a length of leg, plane or page, as they stand for what is built on the base."""
    n = parsed(name)
    if n.kind in _KEY:
        return (f"{n.side}.legs[{n.number}]" if n.number else n.side), _KEY[Kinds(n.kind)]
    if n.kind == Kinds.PLANE:
        return "plane", n.side
    return None


def leg_of(f: Tables, path: str, t: Table) -> Leg:
    """Return the leg a table describes; refuse one with a key missing."""
    f.need(path, t, *LEG_KEYS)
    return Leg(
        leg=f.mm(t, "leg"), page_spacing=f.mm(t, "page_spacing"), plane_spacing=f.mm(t, "plane_spacing")
    )


def carried_by(f: Tables, what: str) -> tuple[dict[str, Leg], Plane]:
    """Legs and plane of a construction that has one leg at most under each half.

    Raises
    ------
    SpecError : a plane with one half only, or another way of holding it.
    """
    legs = {}
    for side in SIDES:
        if side not in f.data:
            continue
        given = next((k for k in f.data[side] if k not in LEG_KEYS), "")
        if given:
            raise f.fail(side, given, f"not on a [{what}]: only leg, page_spacing and plane_spacing")
        legs[side] = leg_of(f, side, f.data[side])
    if "plane" not in f.data:
        raise SpecError(f"{f.source.name}: the table [plane] is missing")
    for side in SIDES:
        if not f.data["plane"].get(side):
            raise f.fail("plane", side, f"a plane on a [{what}] has both halves; give both widths")
    return legs, Plane(left=f.mm(f.data["plane"], "left"), right=f.mm(f.data["plane"], "right"))


def check_legs(spec: Spec, legs: Mapping[str, Leg], plane: Plane, starts: Mapping[str, float]) -> None:
    """Refuse legs whose feet lie beyond the page or whose tops lie beyond the plane.

    starts : side -> where the spacings count from, mm from the spine (and from the ridge).
    """
    for side, leg in legs.items():
        page, width = spec.base.page(side), plane.half(side)
        foot, top = starts[side] + leg.page_spacing, starts[side] + leg.plane_spacing
        if leg.page_spacing < 2 * spec.card.thickness:
            text = f"{leg.page_spacing:g} mm: the leg's foot would lie on the glue line it starts from"
            raise spec.fail(side, "page_spacing", text)
        if foot >= page:
            text = f"the leg's foot at {foot:.4g} mm lies beyond the page ({page:g} mm)"
            raise spec.fail(side, "page_spacing", text)
        if top > width:
            text = (
                f"the leg's top at {top:.4g} mm lies beyond the plane's edge ([plane] {side} = {width:g} mm)"
            )
            raise spec.fail(side, "plane_spacing", text)
