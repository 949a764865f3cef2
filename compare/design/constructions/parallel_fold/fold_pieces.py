"""The pieces of a parallel fold with its plane laid flat, and of the pages it stands on."""

from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.pieces.piece_facts import Seen
from compare.design.pieces.pieces import MOUNTAIN, Pieces
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, leg_numbers, named
from measure.sides import SIDES


def _foot_tab(sheet: Pieces, c: Stage, side: str) -> float:
    """Return the width of the inner foot's tab on one side; negative: turned outwards."""
    legs = c.legs[side]
    return sheet.tab_beside(c.foot(side), legs[0].page_spacing if legs else 2 * sheet.tab)


def _leg_tabs(sheet: Pieces, c: Stage, side: str, k: int) -> tuple[float, float]:
    """Return the widths of a leg's tabs on the page and under the plane."""
    legs = c.legs[side]
    before = legs[k - 1] if k else None
    on_page = legs[k].page_spacing - (before.page_spacing if before else 0.0)
    under = legs[k].plane_spacing - (before.plane_spacing if before else 0.0)
    if k == 0 and _foot_tab(sheet, c, side) < 0:
        on_page /= 2  # the inner foot's tab needs the other half
    return min(sheet.tab, on_page), min(sheet.tab, under)


def _glue_lines(sheet: Pieces, c: Stage, side: str, *, shown: str = "") -> list[tuple[float, str, float]]:
    """Return distance from the spine, name and tab of every foot on one side."""
    if side in c.supports:
        out = [(c.supports[side].foot, f"{shown}support", _foot_tab(sheet, c, side))]
    else:
        out = [(c.fold.foot(side), f"{shown}fold", _foot_tab(sheet, c, side))]
        for k, (leg, i) in enumerate(zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True)):
            at = c.fold.foot(side) + leg.page_spacing
            out.append((at, f"{shown}{named(Kind.LEG, number=i)}", _leg_tabs(sheet, c, side, k)[0]))
    if side in c.flaps:
        out.append((c.flaps[side].hinge, "flap", sheet.tab))
    return out


def cut_stage(sheet: Pieces, c: Stage, stage: int, above: Stage | None) -> None:
    """Add the pieces of one fold with its plane; `above` is the next one, whose feet stand on the plane."""
    props = list(c.supports)
    feet = {s: _foot_tab(sheet, c, s) for s in SIDES}
    if not props:
        parts = [(c.fold.left, MOUNTAIN), (c.fold.right, "")]
        sheet.strip(named(Kind.FOLD, stage=stage), parts, (feet["left"], feet["right"]))
    for side in SIDES:
        if side in c.supports:
            own = "right" if side == "left" else "left"
            sheet.strip(named(Kind.FOLD, own, stage=stage), [(c.fold.side(own), "")], (feet[own], sheet.tab))
            support = [(c.supports[side].length, "")]
            sheet.strip(named(Kind.SUPPORT, side, stage=stage), support, (feet[side], sheet.tab))
        for k, (leg, i) in enumerate(zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True)):
            tabs = _leg_tabs(sheet, c, side, k)
            sheet.strip(named(Kind.LEG, side, i, stage=stage), [(leg.leg, "")], tabs)
        if side in c.flaps:
            flap, strap = c.flaps[side].flap, c.flaps[side].strap
            sheet.strip(named(Kind.FLAP, side, stage=stage), [(flap, "")], (sheet.tab, 0.0))
            sheet.strip(named(Kind.STRAP, side, stage=stage), [(strap, "")], (sheet.tab, sheet.tab))
    marks: list[tuple[float, str, float]] = []  # from below left is on the right
    on_top: list[tuple[float, str]] = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for k, (leg, i) in enumerate(zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True)):
            tab = _leg_tabs(sheet, c, side, k)[1]
            marks.append((sign * leg.plane_spacing, named(Kind.LEG, number=i), tab))
        if side in c.supports:
            marks.append((-sign * c.supports[side].tab, "support", sheet.tab))
        if above is not None:
            lines = _glue_lines(sheet, above, side, shown=f"stage {stage + 1} ")
            on_top += [(sign * x, what) for x, what, _ in lines]
    left, right = c.plane.left, c.plane.right
    for side in props:  # the plane runs on to its support
        beyond = max(-c.supports[side].tab, 0.0)
        left, right = (max(left, beyond), right) if side == "left" else (left, max(right, beyond))
    if props:
        marks.append((0.0, "fold", sheet.tab))
    crease = not props and bool(left and right)
    name = named(Kind.PLANE, stage=stage)
    sheet.board(name, right, left, marks, crease=crease, seen=Seen.BELOW, on_back=on_top)


def cut_pages(spec: Spec, c: Stage, sheet: Pieces) -> None:
    """Add the two pages with the lines at which the feet of the lowest fold are glued."""
    depth = spec.base.depth or spec.card.strip_depth
    pages = Pieces(depth, sheet.tab, sheet.depth)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks = [(sign * x, what, tab) for x, what, tab in _glue_lines(sheet, c, side)]
        width = spec.base.page(side)
        left, right = (width, 0.0) if side == "left" else (0.0, width)
        pages.board(named(Kind.PAGE, side), left, right, marks, crease=False, spine=0.0)
    sheet.pieces += pages.pieces
