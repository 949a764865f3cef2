"""A V-fold that carries a plane: its data, and its tables in a spec."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.compare_errors import SpecError
from compare.design.constructions.leg_and_plane.leg_form import Leg, Plane, carried_by
from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec_tables import Tables
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class VSide:
    """One panel of a V-fold.

    glue_deg : angle of its glue line to the spine; panel_deg : angle between glue line and crease; width :
    length of the glue line from the spine; plane_deg : angle to the plane's crease at which it is glued
    under the plane.
    """

    glue_deg: float
    panel_deg: float
    width: float
    plane_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VFold:
    """A V-fold on the spine, opening towards the camera, that carries a plane.

    crease : length of its crease; near : how far its point lies behind the near end of the base.
    """

    crease: float
    near: float
    sides: Mapping[str, VSide]
    legs: Mapping[str, Leg]
    plane: Plane


_VSIDE: Final = Form(
    "one panel of a V-fold",
    {
        "glue_angle": Key(Kind.CORNER, "between its glue line and the spine, degrees", required=True),
        "angle": Key(Kind.CORNER, "between glue line and crease, degrees", required=True),
        "width": Key(Kind.LENGTH, "length of the glue line, from the spine", required=True),
        "plane_angle": Key(Kind.CORNER, "at which it is glued under the plane; like glue_angle if left out"),
    },
)
VFOLD: Final = Form(
    "a V-fold on the spine, opening towards the camera, instead of the parallel fold",
    {
        "crease": Key(Kind.LENGTH, "length of its crease", required=True),
        "near": Key(
            Kind.PLACE, "its point on the spine to the near end of the base", required=True, zero=True
        ),
    },
    {"left": _VSIDE, "right": _VSIDE},
)


def vfold_of(f: Tables) -> VFold:
    """Return the V-fold of a file, its legs and its plane."""
    t = f.data["vfold"]
    legs, plane = carried_by(f, "vfold")
    sides = {}
    for side in SIDES:
        if side not in t:
            raise SpecError(f"{f.source.where('vfold')}: the table [vfold.{side}] is missing")
        row = t[side]
        sides[side] = VSide(
            glue_deg=float(row["glue_angle"]),
            panel_deg=float(row["angle"]),
            width=f.mm(row, "width"),
            plane_deg=float(row.get("plane_angle", row["glue_angle"])),
        )
    return VFold(crease=f.mm(t, "crease"), near=f.mm(t, "near"), sides=sides, legs=legs, plane=plane)
