"""From the tables of a spec file to a spec: units, defaults, and which tables go together."""

from collections.abc import Mapping
from typing import Any, Final

from compare.compare_errors import SpecError
from compare.design.spec.convert_space import drawing_of, pillar_of, vfold_of
from compare.design.spec.paper_sizes import page_of
from compare.design.spec.parts import (
    Base,
    Card,
    Construction,
    Flap,
    Fold,
    Parallelogram,
    Plane,
    Support,
    Tolerance,
)
from compare.design.spec.spec import Spec
from compare.design.spec.spec_file import Source
from compare.design.spec.spec_tables import LEG_KEYS, SUPPORT_KEYS, Table, Tables, leg_of
from measure.sides import SIDES

DEFAULT_OPENING: Final = 180.0  # degrees
DEFAULT_THICKNESS: Final = 0.3  # mm, card of about 250 g/m2; never inferred from the weight of the card
DEFAULT_STRIP_DEPTH: Final = 60.0  # mm
DEFAULT_NEAR_END_SPREAD: Final = 0.5  # mm, hand-cut strips glued by eye; common practice, no source
DEFAULT_LENGTH_TOLERANCE: Final = 0.5  # mm; a steel rule on a floppy dummy; common practice, no source
DEFAULT_LEVEL: Final = 1.0  # degrees; about what the eye sees; common practice, no source
DEFAULT_CLEARANCE: Final = 1.0  # mm


def _base(f: Tables) -> Base:
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
    return Base(
        page_left=widths["left"],
        page_right=widths["right"],
        depth=None if depth < 0 else depth,
        opening_deg=float(t.get("opening", DEFAULT_OPENING)),
        thickness=f.mm(t, "thickness", DEFAULT_THICKNESS),
    )


def _card(f: Tables) -> Card:
    t = f.data.get("card", {})
    return Card(
        thickness=f.mm(t, "thickness", DEFAULT_THICKNESS),
        strip_depth=f.mm(t, "strip_depth", DEFAULT_STRIP_DEPTH),
        near_end_spread=f.mm(t, "near_end_spread", DEFAULT_NEAR_END_SPREAD),
        tab=f.mm(t, "tab"),
    )


def _tolerance(f: Tables) -> Tolerance:
    t = f.data.get("tolerance", {})
    length = f.mm(t, "length", DEFAULT_LENGTH_TOLERANCE)
    return Tolerance(
        length=length,
        matched=f.mm(t, "matched", length),
        level_deg=float(t.get("level", DEFAULT_LEVEL)),
        clearance=f.mm(t, "clearance", DEFAULT_CLEARANCE),
        lengths={k: v * _scale_of(f, k) for k, v in t.get("lengths", {}).items()},
        spread=f.mm(t, "spread"),
        spreads={k: v * _scale_of(f, k) for k, v in t.get("spreads", {}).items()},
    )


def _scale_of(f: Tables, name: str) -> float:
    """Return mm per unit of the file for a named length; angles stay in degrees."""
    return 1.0 if "angle" in name else f.scale


def _legs(f: Tables, path: str, t: Table) -> tuple[Parallelogram, ...]:
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


def _support(f: Tables, path: str, t: Table) -> Support:
    given = next((k for k in (*LEG_KEYS, "legs", "flap") if k in t), "")
    if given:
        raise f.fail(path, given, "a side has either a leg or a plain support, not both")
    f.need(path, t, *SUPPORT_KEYS)
    return Support(length=f.mm(t, "support"), foot=f.mm(t, "foot"), tab=f.mm(t, "tab"))


def _fold(f: Tables, path: str, data: Table, supports: Mapping[str, Support]) -> Fold:
    if "fold" not in data:
        raise SpecError(f"{f.source.name}: the table [{path}] is missing")
    t = data["fold"]
    for side in supports:
        given = next((k for k in (side, f"foot_{side}") if k in t), "")
        if given:
            raise f.fail(path, given, f"the {side} side has a plain support, so the fold has no side there")
    needed = [k for s in SIDES if s not in supports for k in (s, f"foot_{s}")]
    f.need(path, t, *[k for k in ("left", "right", "foot_left", "foot_right") if k in needed])
    return Fold(
        left=f.mm(t, "left"),
        right=f.mm(t, "right"),
        foot_left=f.mm(t, "foot_left"),
        foot_right=f.mm(t, "foot_right"),
    )


def _construction(f: Tables, prefix: str, data: Table) -> Construction:
    """Return the construction of the file itself (prefix "") or of one stage ("stage[2].")."""
    legs: dict[str, tuple[Parallelogram, ...]] = {"left": (), "right": ()}
    supports: dict[str, Support] = {}
    flaps: dict[str, Flap] = {}
    for side in SIDES:
        if side not in data:
            continue
        path, t = f"{prefix}{side}", data[side]
        if any(k in t for k in SUPPORT_KEYS):
            supports[side] = _support(f, path, t)
            continue
        legs[side] = _legs(f, path, t)
        if "flap" in t:
            row = t["flap"]
            flaps[side] = Flap(hinge=f.mm(row, "hinge"), flap=f.mm(row, "flap"), strap=f.mm(row, "strap"))
    fold = _fold(f, f"{prefix}fold", data, supports)
    if "plane" not in data:
        raise SpecError(f"{f.source.name}: the table [{prefix}plane] is missing")
    plane = Plane(left=f.mm(data["plane"], "left", 0.0), right=f.mm(data["plane"], "right", 0.0))
    out = Construction(fold=fold, plane=plane, legs=legs, supports=supports, flaps=flaps)
    _check_halves(f, prefix, out)
    return out


def _check_halves(f: Tables, prefix: str, c: Construction) -> None:
    """Each plane half needs its own leg and the other way round."""
    if not c.legs["left"] and not c.legs["right"]:
        raise SpecError(
            f"{f.source.name}: [{prefix}left] or [{prefix}right] is missing: "
            "the plane needs a leg on one side at least"
        )
    for side in SIDES:
        width: float = getattr(c.plane, side)
        path = f"{prefix}plane"
        if side in c.supports and width > 0:
            raise f.fail(
                path, side, f"over a plain support on the {side} the plane has no half of its own there"
            )
        if not c.legs[side] and width > 0:
            raise f.fail(
                path,
                side,
                f"a plane half without a leg is not supported: add the table [{prefix}{side}] "
                f"or leave {side!r} out of [{path}]",
            )
        if c.legs[side] and width == 0:
            raise f.fail(
                path,
                side,
                f"the table [{prefix}{side}] has a leg, so the plane's {side} half "
                "(ridge to outer edge) must be given",
            )


def _stages(f: Tables) -> tuple[Construction, ...]:
    out = [_construction(f, "", f.data)]
    for i, row in enumerate(f.data.get("stage", []), start=1):
        below = out[-1].plane
        if below.left == 0 or below.right == 0:
            raise SpecError(
                f"{f.source.where(f'stage[{i}]')}: a stage stands on both halves of the plane below, "
                "which here has only one"
            )
        out.append(_construction(f, f"stage[{i}].", row))
    return tuple(out)


def spec_of(data: Table, source: Source) -> Spec:
    """Return the spec of a checked form; see `compare.design.spec.spec.spec_of_form`."""
    f = Tables(data, source)
    kind: dict[str, Any]
    base = _base(f)
    if "vfold" in data:
        kind = {"vfold": vfold_of(f)}
    elif "pillar" in data:
        kind = {"pillar": pillar_of(f)}
    elif "joints" in data or "panel" in data:
        kind = {"drawing": drawing_of(f)}
    else:
        kind = {"stages": _stages(f)}
    return Spec(
        title=data.get("title", ""),
        units=data.get("units", "mm"),
        base=base,
        card=_card(f),
        tolerance=_tolerance(f),
        source=source,
        **kind,
    )
