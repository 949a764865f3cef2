"""A pull-up flap: its data, and its table in a spec."""

from dataclasses import dataclass
from typing import Final

from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec_tables import Table, Tables
from compare.vocabulary import Kind as Kinds
from compare.vocabulary import Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Flap:
    """A flap hinged on the page and pulled up by a strap from the plane's outer edge.

    hinge : spine to hinge; flap : hinge to strap; strap : plane's edge to flap.
    """

    hinge: float
    flap: float
    strap: float


FLAP: Final = Form(
    "a flap on the page, pulled up by a strap from the plane's outer edge",
    {
        "hinge": Key(Kind.LENGTH, "spine to the flap's hinge", required=True),
        "flap": Key(Kind.LENGTH, "hinge to the strap's end on the flap", required=True),
        "strap": Key(Kind.LENGTH, "plane's edge to flap", required=True),
    },
)


def flap_key(name: Name) -> tuple[str, str] | None:
    """Return table and key of a length of flap or strap; None for any other."""
    keys = {Kinds.FLAP: "flap", Kinds.FLAP_HINGE: "hinge", Kinds.STRAP: "strap"}
    return (f"{name.side}.flap", keys[Kinds(name.kind)]) if name.kind in keys else None


def flap_of(f: Tables, t: Table) -> Flap:
    """Return the flap a table describes."""
    return Flap(hinge=f.mm(t, "hinge"), flap=f.mm(t, "flap"), strap=f.mm(t, "strap"))
