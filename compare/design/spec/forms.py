"""The form of a spec file: its tables and keys, what kind of value each takes, and what it means.

One table of keys serves the check of a file, the JSON Schema for editors and the formatter; the README's
table is compared with it by a test.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType
from typing import Final


class Kind(Enum):
    """What a value is, with what is allowed (mm or degrees) and how a message puts it."""

    LENGTH = (0.5, 1000.0, "a length")
    PLACE = (0.0, 1000.0, "a length")  # may be 0
    SHIFT = (-1000.0, 1000.0, "a length (negative: the other way)")
    POINT = (-1000.0, 1000.0, "a place [x, y]")
    SMALL = (0.02, 10.0, "a thickness")
    SPREAD = (0.0, 20.0, "a spread (0 or more)")
    BAND = (0.005, 100.0, "a tolerance")
    OPENING = (10.0, 180.0, "an angle in degrees")
    ANGLE = (0.01, 45.0, "an angle in degrees")
    CORNER = (1.0, 179.0, "an angle in degrees")
    TEXT = (0.0, 0.0, "text in quotes")
    NAMES = (0.0, 0.0, "a list of names in quotes")

    @property
    def is_angle(self) -> bool:
        """True for degrees, which do not change with `units`."""
        return self in (Kind.OPENING, Kind.ANGLE, Kind.CORNER)

    @property
    def is_number(self) -> bool:
        """True for a plain number."""
        return self not in (Kind.TEXT, Kind.NAMES, Kind.POINT)


@dataclass(frozen=True, slots=True)
class Key:
    """A key: kind, what it means; `zero` allows a plain 0; `required` in every table of its form."""

    kind: Kind
    meaning: str
    required: bool = False
    zero: bool = False
    choices: tuple[str, ...] = ()


NOTHING: Final[Mapping[str, Key]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Form:
    """A table: its keys, the tables in it, and whether it may stand several times ([[...]]).

    named : kind of value if the keys are the user's own names.
    """

    meaning: str
    keys: Mapping[str, Key] = field(default_factory=lambda: NOTHING)
    tables: Mapping[str, "Form"] = field(default_factory=dict)
    many: bool = False
    named: Key | None = None


_L, _C = Kind.LENGTH, Kind.CORNER

BASE: Final = Form(
    "the two pages",
    {
        "page": Key(_L, "spine to fore edge, both pages"),
        "page_left": Key(_L, "spine to fore edge, left page"),
        "page_right": Key(_L, "spine to fore edge, right page"),
        "paper": Key(Kind.TEXT, 'size of a page by name, such as "A5" or "letter landscape"'),
        "depth": Key(_L, "length along the spine, head to tail"),
        "opening": Key(Kind.OPENING, "angle between the pages: 180 a floor, 90 a background"),
        "thickness": Key(Kind.SMALL, "thickness of a page"),
    },
)
CARD: Final = Form(
    "the card of strips and plane",
    {
        "thickness": Key(Kind.SMALL, "thickness of strips and plane"),
        "strip_depth": Key(_L, "length of the strips along the spine"),
        "near_end_spread": Key(Kind.SPREAD, "how unevenly their near ends lie (standard deviation)"),
        "tab": Key(_L, "width of the gluing tabs; those of the inner feet point towards the spine"),
    },
)
FOLD: Final = Form(
    "the parallel fold",
    {
        "left": Key(_L, "its left side, inner foot to ridge"),
        "right": Key(_L, "its right side, inner foot to ridge"),
        "foot_left": Key(_L, "spine to left inner foot"),
        "foot_right": Key(_L, "spine to right inner foot"),
    },
)
_LEG: Final = {
    "leg": Key(_L, "the leg, outer foot to leg top"),
    "page_spacing": Key(_L, "inner foot to outer foot, along the page"),
    "plane_spacing": Key(_L, "ridge to leg top, along the plane"),
}
LEGS: Final = Form(
    "one of several legs under a half, from the ridge outwards",
    {k: Key(v.kind, v.meaning, required=True) for k, v in _LEG.items()},
    many=True,
)
FLAP: Final = Form(
    "a flap on the page, pulled up by a strap from the plane's outer edge",
    {
        "hinge": Key(_L, "spine to the flap's hinge", required=True),
        "flap": Key(_L, "hinge to the strap's end on the flap", required=True),
        "strap": Key(_L, "plane's edge to flap", required=True),
    },
)
SIDE: Final = Form(
    "what holds this half of the plane",
    {
        **_LEG,
        "support": Key(_L, "a plain support instead: foot on this page to tab under the other half"),
        "foot": Key(_L, "spine to the support's foot"),
        "tab": Key(
            Kind.SHIFT, "ridge to the support's tab along the plane, negative on the support's own side"
        ),
    },
    {"legs": LEGS, "flap": FLAP},
)
PLANE: Final = Form(
    "the floating plane",
    {
        "left": Key(_L, "ridge to its left edge", zero=True),
        "right": Key(_L, "ridge to its right edge", zero=True),
    },
)
STAGE: Final = Form(
    "a further construction on the plane below; its crease is the spine",
    {},
    {
        "fold": FOLD,
        "left": Form(SIDE.meaning, _LEG, {"legs": LEGS}),
        "right": Form(SIDE.meaning, _LEG, {"legs": LEGS}),
        "plane": PLANE,
    },
    many=True,
)
_VSIDE: Final = Form(
    "one panel of a V-fold",
    {
        "glue_angle": Key(_C, "between its glue line and the spine, degrees", required=True),
        "angle": Key(_C, "between glue line and crease, degrees", required=True),
        "width": Key(_L, "length of the glue line, from the spine", required=True),
        "plane_angle": Key(_C, "at which it is glued under the plane; like glue_angle if left out"),
    },
)
VFOLD: Final = Form(
    "a V-fold on the spine, opening towards the camera, instead of the parallel fold",
    {
        "crease": Key(_L, "length of its crease", required=True),
        "near": Key(
            Kind.PLACE, "its point on the spine to the near end of the base", required=True, zero=True
        ),
    },
    {"left": _VSIDE, "right": _VSIDE},
)
PILLAR: Final = Form(
    "two V-folds facing each other, instead of the parallel fold",
    {
        "crease": Key(_L, "length of the creases", required=True),
        "crease_far": Key(_L, "length of the far crease, if it differs"),
        "glue_angle": Key(_C, "between the glue lines and the spine, degrees", required=True),
        "angle": Key(_C, "between glue line and crease, degrees", required=True),
        "width": Key(_L, "length of the glue lines, from the spine", required=True),
        "gap": Key(_L, "between the points of the two V-folds, along the spine", required=True),
        "middle": Key(_L, "near end of the base to the pillar's middle", required=True),
    },
)
ROLES: Final = ("page", "fold", "leg", "plane")
PANEL: Final = Form(
    "a straight panel of a linkage given by its joints",
    {
        "name": Key(Kind.TEXT, "its name", required=True),
        "joints": Key(Kind.NAMES, "the joints it runs through, in order", required=True),
        "role": Key(Kind.TEXT, "what it is", choices=ROLES),
        "parallel_to": Key(
            Kind.TEXT, "the page it should lie parallel to", choices=("page left", "page right")
        ),
    },
    many=True,
)
JOINTS: Final = Form(
    "joints of a linkage given directly, as drawn at `opening`: name = [x, y]",
    named=Key(Kind.POINT, "x, y from the spine"),
)
TOLERANCE: Final = Form(
    "what is allowed",
    {
        "length": Key(Kind.BAND, "allowed off by, each length"),
        "matched": Key(Kind.BAND, "allowed difference in a matched pair"),
        "level": Key(Kind.ANGLE, "allowed lean, degrees"),
        "clearance": Key(Kind.BAND, "least card-free margin at the fore edge when shut"),
        "spread": Key(Kind.SPREAD, "how the builder's lengths scatter (standard deviation)"),
    },
    {
        "lengths": Form("allowed off by, for single lengths by name", named=Key(Kind.BAND, "allowed off by")),
        "spreads": Form("scatter of single lengths by name", named=Key(Kind.SPREAD, "standard deviation")),
    },
)

FORMS: Final[Mapping[str, Form]] = MappingProxyType(
    {
        "base": BASE,
        "card": CARD,
        "fold": FOLD,
        "left": SIDE,
        "right": SIDE,
        "plane": PLANE,
        "stage": STAGE,
        "vfold": VFOLD,
        "pillar": PILLAR,
        "joints": JOINTS,
        "panel": PANEL,
        "tolerance": TOLERANCE,
    }
)
TOP: Final[Mapping[str, Key]] = MappingProxyType(
    {
        "title": Key(Kind.TEXT, "shown with the result"),
        "units": Key(Kind.TEXT, "unit of all lengths; angles are in degrees", choices=("mm", "in")),
    }
)


def keys_by_table() -> dict[str, tuple[str, ...]]:
    """Keys of every table by its path ("right.legs", "stage.fold"), tables without keys left out."""
    out: dict[str, tuple[str, ...]] = {}

    def walk(path: str, form: Form) -> None:
        if form.keys:
            out[path] = tuple(form.keys)
        for name, inner in form.tables.items():
            walk(f"{path}.{name}", inner)

    for name, form in FORMS.items():
        walk(name, form)
    return out
