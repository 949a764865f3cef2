"""Base, card and tolerance from the tables of a spec file, with what is taken where nothing is said."""

from typing import Final

from compare.compare_errors import SpecError
from compare.design.spec.paper_sizes import page_of
from compare.design.spec.parts import Base, Card, Tolerance
from compare.design.spec.spec_tables import Tables
from compare.vocabulary import parsed
from measure.sides import SIDES

DEFAULT_OPENING: Final = 180.0  # degrees
DEFAULT_THICKNESS: Final = 0.3  # mm, card of about 250 g/m2; never inferred from the weight of the card
DEFAULT_STRIP_DEPTH: Final = 60.0  # mm
DEFAULT_NEAR_END_SPREAD: Final = 0.5  # mm, hand-cut strips glued by eye; common practice, no source
DEFAULT_LENGTH_TOLERANCE: Final = 0.5  # mm; a steel rule on a floppy dummy; common practice, no source
DEFAULT_LEVEL: Final = 1.0  # degrees; about what the eye sees; common practice, no source
DEFAULT_CLEARANCE: Final = 1.0  # mm
DEFAULT_HAND: Final = 0.3  # mm, nobody re-glues by less; common practice, no source


def base_of(f: Tables) -> Base:
    """Return the base.

    Raises
    ------
    SpecError : the width of a page is missing, or given twice.
    """
    where = f.source.where
    if "base" not in f.data:
        raise SpecError(f"{f.source.name}: the table [base] is missing")
    t = f.data["base"]
    paper = None
    if "paper" in t:
        if any(k in t for k in ("page", "page_left", "page_right")):
            raise f.fail("base", "paper", "give either 'paper' or the width of the pages")
        paper = page_of(t["paper"], where("base", "paper"))
    if "page" in t and ("page_left" in t or "page_right" in t):
        raise f.fail("base", "page", "give either 'page' or 'page_left' and 'page_right'")
    widths = {}
    for side in SIDES:
        width = paper[0] if paper else f.mm(t, "page", f.mm(t, f"page_{side}"))
        if not width > 0:  # nan
            raise SpecError(f"{where('base')}: 'page' (spine to fore edge) is missing")
        widths[side] = width
    depth = f.mm(t, "depth", paper[1] if paper else -1.0)
    setback = f.mm(t, "setback", -1.0)
    if 0 < depth <= setback:
        raise f.fail("base", "setback", "the strips stand farther back than the page reaches ('depth')")
    return Base(
        page_left=widths["left"],
        page_right=widths["right"],
        depth=None if depth < 0 else depth,
        opening_deg=float(t.get("opening", DEFAULT_OPENING)),
        thickness=f.mm(t, "thickness", DEFAULT_THICKNESS),
        setback=None if setback < 0 else setback,
    )


def card_of(f: Tables) -> Card:
    """Return the card of strips and plane."""
    t = f.data.get("card", {})
    return Card(
        thickness=f.mm(t, "thickness", DEFAULT_THICKNESS),
        strip_depth=f.mm(t, "strip_depth", DEFAULT_STRIP_DEPTH),
        near_end_spread=f.mm(t, "near_end_spread", DEFAULT_NEAR_END_SPREAD),
        tab=f.mm(t, "tab"),
    )


def tolerance_of(f: Tables) -> Tolerance:
    """Return what is allowed."""
    t = f.data.get("tolerance", {})
    length = f.mm(t, "length", DEFAULT_LENGTH_TOLERANCE)
    return Tolerance(
        length=length,
        matched=f.mm(t, "matched", length),
        level_deg=float(t.get("level", DEFAULT_LEVEL)),
        clearance=f.mm(t, "clearance", DEFAULT_CLEARANCE),
        lengths={k: v * _scale_of(f, k) for k, v in t.get("lengths", {}).items()},
        spread=f.mm(t, "spread"),
        hand=f.mm(t, "hand", DEFAULT_HAND),
        spreads={k: v * _scale_of(f, k) for k, v in t.get("spreads", {}).items()},
    )


def _scale_of(f: Tables, name: str) -> float:
    """Return mm per unit of the file for a named length; angles stay in degrees."""
    return 1.0 if parsed(name).is_angle else f.scale
