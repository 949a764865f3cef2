"""The form of a spec file: its tables and keys, what kind of value each takes, and what it means.

One table of keys serves the check of a file, the JSON Schema for editors and the formatter; the README's
table is compared with it by a test. Here stand the tables that every spec may have; each construction brings
its own (`compare.design.constructions.registry` has them all).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
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

    most : how often it may stand; named : kind of value if the keys are the user's own names.
    """

    meaning: str
    keys: Mapping[str, Key] = field(default_factory=lambda: NOTHING)
    tables: Mapping[str, "Form"] = field(default_factory=dict)
    many: bool = False
    most: int = 1
    named: Key | None = None


_L = Kind.LENGTH

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
        "setback": Key(Kind.PLACE, "how far the strips' near ends stand back from the pages' near edge"),
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
TOLERANCE: Final = Form(
    "what is allowed",
    {
        "length": Key(Kind.BAND, "allowed off by, each length"),
        "matched": Key(Kind.BAND, "allowed difference in a matched pair"),
        "level": Key(Kind.ANGLE, "allowed lean, degrees"),
        "clearance": Key(Kind.BAND, "least card-free margin at the fore edge when shut"),
        "spread": Key(Kind.SPREAD, "how the builder's lengths scatter (standard deviation)"),
        "hand": Key(Kind.BAND, "least step by which a hand re-glues or trims"),
    },
    {
        "lengths": Form("allowed off by, for single lengths by name", named=Key(Kind.BAND, "allowed off by")),
        "spreads": Form("scatter of single lengths by name", named=Key(Kind.SPREAD, "standard deviation")),
    },
)

TOP: Final[Mapping[str, Key]] = MappingProxyType(
    {
        "title": Key(Kind.TEXT, "shown with the result"),
        "units": Key(Kind.TEXT, "unit of all lengths; angles are in degrees", choices=("mm", "in")),
    }
)


def merged(groups: Iterable[Mapping[str, Form]]) -> Mapping[str, Form]:
    """Return the tables of several groups as one; a table in two of them has the keys of both."""
    out: dict[str, Form] = {}
    for forms in groups:
        for name, form in forms.items():
            if name in out:
                was = out[name]
                tables = merged((was.tables, form.tables))
                form = replace(
                    was,
                    keys={**was.keys, **{k: v for k, v in form.keys.items() if k not in was.keys}},
                    tables=tables,
                )
            out[name] = form
    return out


def keys_by_table(forms: Mapping[str, Form]) -> dict[str, tuple[str, ...]]:
    """Keys of every table by its path ("right.legs", "stage.fold"), tables without keys left out."""
    out: dict[str, tuple[str, ...]] = {}

    def walk(path: str, form: Form) -> None:
        if form.keys:
            out[path] = tuple(form.keys)
        for name, inner in form.tables.items():
            walk(f"{path}.{name}", inner)

    for name, form in forms.items():
        walk(name, form)
    return out
