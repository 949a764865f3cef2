"""The pieces of a parallel fold with its plane laid flat, and of the pages it stands on."""

from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.pieces.pieces import MOUNTAIN, Pieces
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, leg_numbers, named
from measure.sides import SIDES


def cut_stage(sheet: Pieces, c: Stage, stage: int, above: Stage | None) -> None:
    """Add the pieces of one fold with its plane; `above` is the next one, whose feet stand on the plane."""
    props = list(c.supports)
    if not props:
        sheet.strip(
            named(Kind.FOLD, stage=stage), [(c.fold.left, MOUNTAIN), (c.fold.right, "")], (True, True)
        )
    for side in SIDES:
        if side in c.supports:
            own = "right" if side == "left" else "left"
            sheet.strip(named(Kind.FOLD, own, stage=stage), [(c.fold.side(own), "")], (True, True))
            sheet.strip(named(Kind.SUPPORT, side, stage=stage), [(c.supports[side].length, "")], (True, True))
        for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True):
            sheet.strip(named(Kind.LEG, side, i, stage=stage), [(leg.leg, "")], (True, True))
        if side in c.flaps:
            sheet.strip(named(Kind.FLAP, side, stage=stage), [(c.flaps[side].flap, "")], (True, False))
            sheet.strip(named(Kind.STRAP, side, stage=stage), [(c.flaps[side].strap, "")], (True, True))
    marks: list[tuple[float, str]] = []
    on_top: list[str] = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks += [
            (sign * leg.plane_spacing, named(Kind.LEG, number=i))
            for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True)
        ]
        if side in c.supports:
            marks.append((-sign * c.supports[side].tab, "support"))
        if above is not None:
            foot = above.fold.foot(side)
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
    sheet.board(named(Kind.PLANE, stage=stage), right, left, mirrored, crease=crease, note=note)


def cut_pages(spec: Spec, c: Stage, sheet: Pieces) -> None:
    """Add the two pages with the lines at which the feet of the lowest fold are glued."""
    depth = spec.base.depth or spec.card.strip_depth
    pages = Pieces(depth, sheet.tab, sheet.depth)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks: list[tuple[float, str]] = []
        if side in c.supports:
            marks.append((sign * c.supports[side].foot, "support"))
        else:
            foot = c.fold.foot(side)
            marks.append((sign * foot, "fold"))
            marks += [
                (sign * (foot + leg.page_spacing), named(Kind.LEG, number=i))
                for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True)
            ]
        if side in c.flaps:
            marks.append((sign * c.flaps[side].hinge, "flap"))
        width = spec.base.page(side)
        left, right = (width, 0.0) if side == "left" else (0.0, width)
        note = "near end at the top; the spine is its " + ("right" if side == "left" else "left") + " edge"
        pages.board(named(Kind.PAGE, side), left, right, marks, crease=False, note=note)
    sheet.pieces += pages.pieces
