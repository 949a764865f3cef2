"""A table on a pillar of two V-folds: its data, and its table in a spec."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.compare_errors import SpecError
from compare.design.constructions.leg_and_plane.leg_form import Leg, Plane, carried_by
from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec_tables import Tables
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class Pillar:
    """Two V-folds facing each other, a plane on top, legs parallel to the spine out to the sides.

    crease_near, crease_far : lengths of the two creases; gap : distance of the two points on the spine;
    middle : how far the middle of the pillar lies behind the near end. Spacings of the legs count from spine
    and ridge. The plane is glued to the far crease; the near one props it.
    """

    crease_near: float
    crease_far: float
    glue_deg: float
    panel_deg: float
    width: float
    gap: float
    middle: float
    legs: Mapping[str, Leg]
    plane: Plane


PILLAR: Final = Form(
    "two V-folds facing each other, instead of the parallel fold",
    {
        "crease": Key(Kind.LENGTH, "length of the creases", required=True),
        "crease_far": Key(Kind.LENGTH, "length of the far crease, if it differs"),
        "glue_angle": Key(Kind.CORNER, "between the glue lines and the spine, degrees", required=True),
        "angle": Key(Kind.CORNER, "between glue line and crease, degrees", required=True),
        "width": Key(Kind.LENGTH, "length of the glue lines, from the spine", required=True),
        "gap": Key(Kind.LENGTH, "between the points of the two V-folds, along the spine", required=True),
        "middle": Key(Kind.LENGTH, "near end of the base to the pillar's middle", required=True),
    },
)


def pillar_of(f: Tables) -> Pillar:
    """Return the pillar of a file, its legs and its plane."""
    t = f.data["pillar"]
    legs, plane = carried_by(f, "pillar")
    for side in SIDES:
        if side not in legs:
            raise SpecError(
                f"{f.source.name}: the table [{side}] is missing: a table on a pillar has legs on both sides"
            )
    return Pillar(
        crease_near=f.mm(t, "crease"),
        crease_far=f.mm(t, "crease_far", f.mm(t, "crease")),
        glue_deg=float(t["glue_angle"]),
        panel_deg=float(t["angle"]),
        width=f.mm(t, "width"),
        gap=f.mm(t, "gap"),
        middle=f.mm(t, "middle"),
        legs=legs,
        plane=plane,
    )
