"""The design spec in trade terms: what the builder meant to make. All lengths in millimetres.

What is supported: a two-page base, one parallel fold on the spine (symmetric or not), a floating plane
creased over the ridge, and a leg (a parallelogram) under either or both halves of the plane. Not supported
yet, and refused with one line: a plane half without a leg of its own, more than one leg under a half,
stages, V-folds, pillars and pull-ups.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from compare.design.specfile import MM_PER_INCH, SideTable, Source, SpecTables, read_tables
from compare.errors import SpecError

DEFAULT_OPENING: Final = 180.0  # degrees
DEFAULT_THICKNESS: Final = 0.3  # mm, card of about 250 g/m2; never inferred from the weight of the card
DEFAULT_STRIP_DEPTH: Final = 60.0  # mm
DEFAULT_NEAR_END_SPREAD: Final = 0.5  # mm, hand-cut strips glued by eye; common practice, no source
DEFAULT_LENGTH_TOLERANCE: Final = 0.5  # mm; a steel rule on a floppy dummy; common practice, no source
DEFAULT_LEVEL: Final = 1.0  # degrees; about what the eye sees; common practice, no source
DEFAULT_CLEARANCE: Final = 1.0  # mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Two pages and the spine: page widths (spine to fore edge), depth head to tail, opening (degrees)."""

    page_left: float
    page_right: float
    depth: float | None
    opening_deg: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The card of strips and plane: thickness, length of a strip along the spine, spread (sd) of its end."""

    thickness: float
    strip_depth: float
    near_end_spread: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """The parallel fold: its two sides (foot to ridge), and its feet (spine to foot)."""

    left: float
    right: float
    foot_left: float
    foot_right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Parallelogram:
    """One half: the leg, and its distances from the fold along the page and along the plane."""

    leg: float
    page_spacing: float
    plane_spacing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The floating plane: ridge to outer edge on either side; 0 = no half on that side."""

    left: float
    right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What is allowed: +- on a length, a matched pair (mm) and level (degrees); least clearance (mm)."""

    length: float
    matched: float
    level_deg: float
    clearance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spec:
    """A checked design.

    Attributes
    ----------
    left, right : the parallelograms; None on a side without a leg (one-sided plane).
    units : the file's own units, "mm" or "in" (all numbers here are mm).
    source : file name, line numbers and hash, for messages and the record.
    warnings : plain sentences about the design itself.
    """

    title: str
    units: str
    base: Base
    card: Card
    fold: Fold
    left: Parallelogram | None
    right: Parallelogram | None
    plane: Plane
    tolerance: Tolerance
    source: Source
    warnings: tuple[str, ...] = ()

    @property
    def sides(self) -> tuple[str, ...]:
        """Sides that have a plane half with a leg."""
        return tuple(s for s in ("left", "right") if self.half(s) is not None)

    def half(self, side: str) -> Parallelogram | None:
        """Return the parallelogram of one side, or None."""
        return self.left if side == "left" else self.right

    def lengths(self) -> dict[str, float]:
        """Nominal lengths by name, mm, in the order they are reported."""
        out: dict[str, float] = {}
        for side in ("left", "right"):
            out[f"foot {side}"] = getattr(self.fold, f"foot_{side}")
            out[f"fold {side}"] = getattr(self.fold, side)
            half = self.half(side)
            if half is not None:
                out[f"page spacing {side}"] = half.page_spacing
                out[f"plane spacing {side}"] = half.plane_spacing
                out[f"leg {side}"] = half.leg
                out[f"plane {side}"] = getattr(self.plane, side)
            out[f"page {side}"] = getattr(self.base, f"page_{side}")
        return out


def _pages(tables: SpecTables, source: Source) -> tuple[float, float]:
    base = tables.base
    if base.page is not None and (base.page_left is not None or base.page_right is not None):
        raise SpecError(f"{source.where('base', 'page')}: give either 'page' or 'page_left' and 'page_right'")
    left = base.page if base.page is not None else base.page_left
    right = base.page if base.page is not None else base.page_right
    if left is None or right is None:
        raise SpecError(f"{source.where('base')}: 'page' (spine to fore edge) is missing")
    return left, right


def _check_halves(tables: SpecTables, source: Source) -> None:
    """Each plane half needs its own leg and the other way round."""
    if tables.left is None and tables.right is None:
        raise SpecError(
            f"{source.name}: [left] or [right] is missing: the plane needs a leg on one side at least"
        )
    for side in ("left", "right"):
        width: float = getattr(tables.plane, side)
        table: SideTable | None = getattr(tables, side)
        if table is None and width > 0:
            raise SpecError(
                f"{source.where('plane', side)}: a plane half without a leg is not supported: "
                f"add the table [{side}] or leave {side!r} out of [plane]"
            )
        if table is not None and width == 0:
            raise SpecError(
                f"{source.where('plane', side)}: the table [{side}] has a leg, so the plane's {side} half "
                "(ridge to outer edge) must be given"
            )


def _to_spec(tables: SpecTables, source: Source) -> Spec:
    """Typed and in millimetres; geometry not checked yet."""
    k = MM_PER_INCH if tables.units == "in" else 1.0

    def mm(value: float | None, default: float) -> float:
        return default if value is None else value * k

    def half(table: SideTable | None) -> Parallelogram | None:
        if table is None:
            return None
        return Parallelogram(
            leg=table.leg * k, page_spacing=table.page_spacing * k, plane_spacing=table.plane_spacing * k
        )

    left, right = _pages(tables, source)
    base, card, fold, tol = tables.base, tables.card, tables.fold, tables.tolerance
    length = mm(tol.length, DEFAULT_LENGTH_TOLERANCE)
    return Spec(
        title=tables.title,
        units=tables.units,
        base=Base(
            page_left=left * k,
            page_right=right * k,
            depth=None if base.depth is None else base.depth * k,
            opening_deg=base.opening,
            thickness=mm(base.thickness, DEFAULT_THICKNESS),
        ),
        card=Card(
            thickness=mm(card.thickness, DEFAULT_THICKNESS),
            strip_depth=mm(card.strip_depth, DEFAULT_STRIP_DEPTH),
            near_end_spread=mm(card.near_end_spread, DEFAULT_NEAR_END_SPREAD),
        ),
        fold=Fold(
            left=fold.left * k,
            right=fold.right * k,
            foot_left=fold.foot_left * k,
            foot_right=fold.foot_right * k,
        ),
        left=half(tables.left),
        right=half(tables.right),
        plane=Plane(left=tables.plane.left * k, right=tables.plane.right * k),
        tolerance=Tolerance(
            length=length,
            matched=mm(tol.matched, length),
            level_deg=DEFAULT_LEVEL if tol.level is None else tol.level,
            clearance=mm(tol.clearance, DEFAULT_CLEARANCE),
        ),
        source=source,
    )


def load_spec(path: str | Path) -> Spec:
    """Read a design spec.

    Parameters
    ----------
    path : a TOML file (see the README for its keys).

    Returns
    -------
    Spec, in mm, checked: its loops can be assembled at the stated opening.

    Raises
    ------
    SpecError : one line with file, line, key, what came and what is allowed.
    """
    from compare.design.feasible import checked  # it needs Spec, so it is imported here

    tables, source = read_tables(path)
    _check_halves(tables, source)
    return checked(_to_spec(tables, source))
