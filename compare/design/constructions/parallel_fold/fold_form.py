"""A parallel fold with its plane: its data, and its tables in a spec."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from compare.compare_errors import SpecError
from compare.design.constructions.flap.flap_form import FLAP, Flap, flap_of
from compare.design.constructions.leg_and_plane.leg_form import LEG_KEYS, PLANE, SIDE, Leg, Plane, leg_of
from compare.design.constructions.support.support_form import SUPPORT_KEYS, Support, support_of
from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec_tables import Table, Tables
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """The parallel fold: its two sides (foot to ridge), and its feet (spine to foot); nan = none there."""

    left: float
    right: float
    foot_left: float
    foot_right: float

    def side(self, side: str) -> float:
        """Return inner foot to ridge on one side, mm."""
        return self.left if side == "left" else self.right

    def foot(self, side: str) -> float:
        """Return spine to inner foot on one side, mm."""
        return self.foot_left if side == "left" else self.foot_right


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A parallel fold (or a fold and a support) with a plane on legs: on the base, or on a plane below.

    Attributes
    ----------
    legs : side -> its legs, from the ridge outwards.
    supports, flaps : side -> support or flap, only sides that have one.
    """

    fold: Fold
    plane: Plane
    legs: Mapping[str, tuple[Leg, ...]]
    supports: Mapping[str, Support] = field(default_factory=dict)
    flaps: Mapping[str, Flap] = field(default_factory=dict)

    def foot(self, side: str) -> float:
        """Return spine to the innermost foot on one side, mm."""
        return self.supports[side].foot if side in self.supports else self.fold.foot(side)


FOLD: Final = Form(
    "the parallel fold",
    {
        "left": Key(Kind.LENGTH, "its left side, inner foot to ridge"),
        "right": Key(Kind.LENGTH, "its right side, inner foot to ridge"),
        "foot_left": Key(Kind.LENGTH, "spine to left inner foot"),
        "foot_right": Key(Kind.LENGTH, "spine to right inner foot"),
    },
)
MOST_LEGS: Final = 8  # under one half of a plane; more than any hand glues
LEGS: Final = Form(
    "one of several legs under a half, from the ridge outwards",
    {k: replace(v, required=True) for k, v in LEG_KEYS.items()},
    many=True,
    most=MOST_LEGS,
)
LEGGED_SIDE: Final = Form(SIDE.meaning, LEG_KEYS, {"legs": LEGS})
FULL_SIDE: Final = Form(SIDE.meaning, {**LEG_KEYS, **SUPPORT_KEYS}, {"legs": LEGS, "flap": FLAP})
ON_BASE: Final[Mapping[str, Form]] = {"fold": FOLD, "left": FULL_SIDE, "right": FULL_SIDE, "plane": PLANE}
ON_PLANE: Final[Mapping[str, Form]] = {
    "fold": FOLD,
    "left": LEGGED_SIDE,
    "right": LEGGED_SIDE,
    "plane": PLANE,
}


def _legs(f: Tables, path: str, t: Table) -> tuple[Leg, ...]:
    """Legs of one side table: one in the table itself, or several in [[...legs]]."""
    if "legs" in t:
        given = next((k for k in LEG_KEYS if k in t), "")
        if given:
            raise f.fail(path, given, f"give either one leg here or several in [[{path}.legs]]")
        legs = tuple(leg_of(f, f"{path}.legs[{i}]", row) for i, row in enumerate(t["legs"], start=1))
        for i, (a, b) in enumerate(zip(legs, legs[1:], strict=False), start=2):
            if not (a.page_spacing < b.page_spacing and a.plane_spacing < b.plane_spacing):
                raise f.fail(
                    f"{path}.legs[{i}]",
                    "page_spacing",
                    "name the legs from the ridge outwards, each farther out",
                )
        return legs
    return (leg_of(f, path, t),)


def _fold(f: Tables, path: str, data: Table, supports: Mapping[str, Support]) -> Fold:
    if "fold" not in data:
        raise SpecError(f"{f.source.name}: the table [{path}] is missing")
    t = data["fold"]
    for side in supports:
        given = next((k for k in (side, f"foot_{side}") if k in t), "")
        if given:
            raise f.fail(path, given, f"the {side} side has a plain support, so the fold has no side there")
    needed = [k for s in SIDES if s not in supports for k in (s, f"foot_{s}")]
    f.need(path, t, *[k for k in FOLD.keys if k in needed])
    return Fold(
        left=f.mm(t, "left"),
        right=f.mm(t, "right"),
        foot_left=f.mm(t, "foot_left"),
        foot_right=f.mm(t, "foot_right"),
    )


def stage_of(f: Tables, prefix: str, data: Table) -> Stage:
    """Return the parallel fold of the file itself (prefix "") or of one stage ("stage[2].").

    Raises
    ------
    SpecError : keys or tables are missing, or do not go together.
    """
    legs: dict[str, tuple[Leg, ...]] = {"left": (), "right": ()}
    supports: dict[str, Support] = {}
    flaps: dict[str, Flap] = {}
    for side in SIDES:
        if side not in data:
            continue
        path, t = f"{prefix}{side}", data[side]
        if any(k in t for k in SUPPORT_KEYS):
            supports[side] = support_of(f, path, t)
            continue
        legs[side] = _legs(f, path, t)
        if "flap" in t:
            flaps[side] = flap_of(f, t["flap"])
    fold = _fold(f, f"{prefix}fold", data, supports)
    if "plane" not in data:
        raise SpecError(f"{f.source.name}: the table [{prefix}plane] is missing")
    plane = Plane(left=f.mm(data["plane"], "left", 0.0), right=f.mm(data["plane"], "right", 0.0))
    out = Stage(fold=fold, plane=plane, legs=legs, supports=supports, flaps=flaps)
    _check_halves(f, prefix, out)
    return out


def _check_halves(f: Tables, prefix: str, c: Stage) -> None:
    """Each plane half needs its own leg and the other way round."""
    if not c.legs["left"] and not c.legs["right"]:
        raise SpecError(
            f"{f.source.name}: [{prefix}left] or [{prefix}right] is missing: "
            "the plane needs a leg on one side at least"
        )
    path = f"{prefix}plane"
    for side in SIDES:
        width = c.plane.half(side)
        if side in c.supports and width > 0:
            text = f"over a plain support on the {side} the plane has no half of its own there"
            raise f.fail(path, side, text)
        if not c.legs[side] and width > 0:
            text = (
                f"a plane half without a leg is not supported: add the table [{prefix}{side}] "
                f"or leave {side!r} out of [{path}]"
            )
            raise f.fail(path, side, text)
        if c.legs[side] and width == 0:
            text = (
                f"the table [{prefix}{side}] has a leg, so the plane's {side} half "
                "(ridge to outer edge) must be given"
            )
            raise f.fail(path, side, text)
