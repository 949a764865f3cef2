"""A plain support: its data, and its keys in a spec."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.design.spec.forms import Key, Kind
from compare.design.spec.spec_tables import Table, Tables
from compare.vocabulary import Kind as Kinds
from compare.vocabulary import Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """A plain card from the page up to a tab under the plane of the other side.

    length : its length, fold to fold; foot : spine to its foot; tab : ridge to its top along the plane,
    negative on the support's own side of the ridge.
    """

    length: float
    foot: float
    tab: float


SUPPORT_KEYS: Final[Mapping[str, Key]] = {
    "support": Key(Kind.LENGTH, "a plain support instead: foot on this page to tab under the other half"),
    "foot": Key(Kind.LENGTH, "spine to the support's foot"),
    "tab": Key(Kind.SHIFT, "ridge to the support's tab along the plane, negative on the support's own side"),
}


def support_key(name: Name) -> tuple[str, str] | None:
    """Return table and key of a length of a support; None for any other."""
    keys = {Kinds.SUPPORT: "support", Kinds.SUPPORT_FOOT: "foot", Kinds.SUPPORT_TAB: "tab"}
    return (name.side, keys[Kinds(name.kind)]) if name.kind in keys else None


def support_of(f: Tables, path: str, t: Table) -> Support:
    """Return the support a side's table describes.

    Raises
    ------
    SpecError : a key is missing, or the side has a leg besides.
    """
    given = next((k for k in t if k not in SUPPORT_KEYS), "")
    if given:
        raise f.fail(path, given, "a side has either a leg or a plain support, not both")
    f.need(path, t, *SUPPORT_KEYS)
    return Support(length=f.mm(t, "support"), foot=f.mm(t, "foot"), tab=f.mm(t, "tab"))
