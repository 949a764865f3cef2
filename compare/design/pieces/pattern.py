"""The pieces of a dummy laid flat, from its design."""

import numpy as np

from compare.design.linkage.mechanism_draft import leg_names
from compare.design.pieces.pattern_space import add_drawn, add_pillar, add_vfold
from compare.design.pieces.pieces import LEAST_TAB, MOUNTAIN, USUAL_TAB, Piece, Pieces
from compare.design.spec.parts import Construction
from compare.design.spec.spec import Spec
from measure.sides import SIDES


def tab_of(spec: Spec) -> float:
    """Width of the gluing tabs, mm: as the spec says, else what fits beside the spine."""
    if np.isfinite(spec.card.tab):
        return spec.card.tab
    feet = [USUAL_TAB]
    for c in spec.stages:
        feet += [s.foot for s in c.supports.values()]
        feet += [f for f in (c.fold.foot_left, c.fold.foot_right) if np.isfinite(f)]
    return max(min(feet), LEAST_TAB)


def _construction(sheet: Pieces, c: Construction, prefix: str, above: Construction | None) -> None:
    """Add the pieces of one construction."""
    props = list(c.supports)
    if not props:
        sheet.strip(f"{prefix}fold", [(c.fold.left, MOUNTAIN), (c.fold.right, "")], (True, True))
    for side in SIDES:
        if side in c.supports:
            own = "right" if side == "left" else "left"
            sheet.strip(f"{prefix}fold {own}", [(getattr(c.fold, own), "")], (True, True))
            sheet.strip(f"{prefix}support {side}", [(c.supports[side].length, "")], (True, True))
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            sheet.strip(f"{prefix}leg{i} {side}", [(leg.leg, "")], (True, True))
        if side in c.flaps:
            sheet.strip(f"{prefix}flap {side}", [(c.flaps[side].flap, "")], (True, False))
            sheet.strip(f"{prefix}strap {side}", [(c.flaps[side].strap, "")], (True, True))
    marks: list[tuple[float, str]] = []
    on_top: list[str] = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks += [
            (sign * leg.plane_spacing, f"leg{i}")
            for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True)
        ]
        if side in c.supports:
            marks.append((-sign * c.supports[side].tab, "support"))
        if above is not None:
            foot: float = getattr(above.fold, f"foot_{side}")
            on_top.append(
                f"{side} {foot:g}" + "".join(f", {foot + leg.page_spacing:g}" for leg in above.legs[side])
            )
    left, right = c.plane.left, c.plane.right
    for side in props:  # the plane runs on to its support
        beyond = max(-c.supports[side].tab, 0.0)
        left, right = (max(left, beyond), right) if side == "left" else (left, max(right, beyond))
    if props:
        marks.append((0.0, "fold"))
    note = "seen from below, glue lines on this side"
    if on_top:
        note += f"; on top, from the crease: feet of the next stage at {'; '.join(on_top)} mm"
    mirrored = [(-x, words) for x, words in marks]  # from below, left is on the right
    crease = not props and bool(left and right)
    sheet.board(f"{prefix}plane", right, left, mirrored, crease=crease, note=note)


def _base(spec: Spec, sheet: Pieces) -> None:
    """Add the two pages with the lines at which feet are glued."""
    depth = spec.base.depth or spec.card.strip_depth
    pages = Pieces(depth, sheet.tab, sheet.depth)
    c = spec.stages[0]
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks: list[tuple[float, str]] = []
        if side in c.supports:
            marks.append((sign * c.supports[side].foot, "support"))
        else:
            foot: float = getattr(c.fold, f"foot_{side}")
            marks.append((sign * foot, "fold"))
            marks += [
                (sign * (foot + leg.page_spacing), f"leg{i}")
                for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True)
            ]
        if side in c.flaps:
            marks.append((sign * c.flaps[side].hinge, "flap"))
        width: float = getattr(spec.base, f"page_{side}")
        left, right = (width, 0.0) if side == "left" else (0.0, width)
        note = "near end at the top; the spine is its " + ("right" if side == "left" else "left") + " edge"
        pages.board(f"page {side}", left, right, marks, crease=False, note=note)
    sheet.pieces += pages.pieces


def pieces_of(spec: Spec) -> tuple[Piece, ...]:
    """All pieces of a dummy, base first.

    A linkage given by its joints becomes plain strips, one per panel, with its joints marked: how they are
    hinged is for its author to say.
    """
    depth = min(spec.card.strip_depth, spec.base.depth or spec.card.strip_depth)
    sheet = Pieces(depth, tab_of(spec), depth)
    if spec.stages:
        _base(spec, sheet)
        for k, c in enumerate(spec.stages):
            above = spec.stages[k + 1] if k + 1 < len(spec.stages) else None
            _construction(sheet, c, f"stage {k + 1} " if k else "", above)
    elif spec.vfold is not None:
        add_vfold(spec, spec.vfold, sheet)
    elif spec.pillar is not None:
        add_pillar(spec, sheet)
    else:
        add_drawn(spec, sheet)
    return tuple(p.shifted() for p in sheet.pieces)
