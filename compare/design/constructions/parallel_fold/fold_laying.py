"""A parallel fold laid out: its lengths, feet, ridge, halves of the plane and edges, step by step."""

from compare.design.constructions.flap.flap_laying import add_flap, add_flap_lengths, add_hinge
from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.support.support_laying import add_support_foot, add_support_lengths
from compare.design.linkage.mechanism import Loop
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.design.linkage.steps import Corner, Legs
from compare.design.spec.parts import Base
from compare.vocabulary import Kind, leg_numbers, named
from measure.sides import SIDES


def add_lengths(d: Draft, c: Stage, g: Ground, base: Base | None) -> None:
    """All lengths of a construction, in the order they are reported."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            add_support_lengths(d, c.supports[side], g, side)
        else:
            inner = n(Kind.INNER_FOOT, side)
            d.length(n(Kind.FOOT, side), c.fold.foot(side), g.spine, inner)
            d.length(n(Kind.FOLD, side), c.fold.side(side), inner, n(Kind.RIDGE))
        legs = c.legs[side]
        for leg, i in zip(legs, leg_numbers(len(legs)), strict=True):
            outer, top = n(Kind.OUTER_FOOT, side, i), n(Kind.LEG_TOP, side, i)
            d.length(n(Kind.PAGE_SPACING, side, i), leg.page_spacing, n(Kind.INNER_FOOT, side), outer)
            d.length(n(Kind.PLANE_SPACING, side, i), leg.plane_spacing, n(Kind.RIDGE), top)
            d.length(n(Kind.LEG, side, i), leg.leg, outer, top)
        width = c.plane.half(side)
        if width > 0:
            d.length(n(Kind.PLANE, side), width, n(Kind.RIDGE), n(Kind.PLANE_EDGE, side))
        if side in c.flaps:
            add_flap_lengths(d, c.flaps[side], g, side)
        if base is not None:
            d.length(named(Kind.PAGE, side), base.page(side), "spine", named(Kind.FORE_EDGE, side))


def add_feet(d: Draft, c: Stage, g: Ground) -> None:
    """Inner feet, outer feet, hinges: joints on the pages below."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            add_support_foot(d, c.supports[side], g, side)
            continue
        foot = c.fold.foot(side)
        d.place(n(Kind.INNER_FOOT, side), page, g.spine, (n(Kind.FOOT, side),), foot)
        d.lifts[n(Kind.INNER_FOOT, side)] = g.layers
        for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True):
            terms = (n(Kind.FOOT, side), n(Kind.PAGE_SPACING, side, i))
            d.place(n(Kind.OUTER_FOOT, side, i), page, g.spine, terms, foot + leg.page_spacing)
            d.lifts[n(Kind.OUTER_FOOT, side, i)] = g.layers
        if side in c.flaps:
            add_hinge(d, c.flaps[side], g, side)
    near = {s: n(Kind.SUPPORT_FOOT if s in c.supports else Kind.INNER_FOOT, s) for s in SIDES}
    d.ends[n(Kind.FEET)] = (near["left"], near["right"])


def add_tent(d: Draft, g: Ground) -> None:
    """Add the parallel fold over the spine below."""
    n = g.name
    d.steps.append(
        Corner(
            arms=(g.pages["right"], g.pages["left"]),
            a={n(Kind.FOOT, "right"): 1.0},
            b={n(Kind.FOOT, "left"): 1.0},
            at_p=n(Kind.INNER_FOOT, "right"),
            at_q=n(Kind.INNER_FOOT, "left"),
            p=(n(Kind.FOLD, "right"), {n(Kind.FOLD, "right"): 1.0}),
            q=(n(Kind.FOLD, "left"), {n(Kind.FOLD, "left"): 1.0}),
            meet=n(Kind.RIDGE),
        )
    )
    d.loops.append(
        Loop(
            name=n(Kind.FEET),
            one=(n(Kind.FOOT, "left"), n(Kind.FOLD, "left")),
            other=(n(Kind.FOOT, "right"), n(Kind.FOLD, "right")),
        )
    )


def _corner(side: str, g: Ground, i: int) -> Corner:
    """Return the four-bar of one leg: page, fold, leg, plane half."""
    n = g.name
    page, fold = g.pages[side], n(Kind.FOLD, side)
    leg, plane = n(Kind.LEG, side, i), n(Kind.PLANE, side)
    on_page, on_plane = n(Kind.PAGE_SPACING, side, i), n(Kind.PLANE_SPACING, side, i)
    outer, top = n(Kind.OUTER_FOOT, side, i), n(Kind.LEG_TOP, side, i)
    if side == "right":
        return Corner(
            arms=(page, fold),
            a={on_page: 1.0},
            b={fold: 1.0},
            at_p=outer,
            at_q=n(Kind.RIDGE),
            p=(leg, {leg: 1.0}),
            q=(plane, {on_plane: 1.0}),
            meet=top,
        )
    return Corner(
        arms=(fold, page),
        a={fold: 1.0},
        b={on_page: 1.0},
        at_p=n(Kind.RIDGE),
        at_q=outer,
        p=(plane, {on_plane: 1.0}),
        q=(leg, {leg: 1.0}),
        meet=top,
    )


def add_half(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """One half of the plane on its legs."""
    n = g.name
    names = leg_numbers(len(c.legs[side]))
    if len(names) == 1:
        d.steps.append(_corner(side, g, names[0]))
    else:
        d.steps.append(
            Legs(
                plane=n(Kind.PLANE, side),
                ridge=n(Kind.RIDGE),
                legs=tuple(
                    (
                        n(Kind.LEG, side, i),
                        n(Kind.OUTER_FOOT, side, i),
                        n(Kind.LEG_TOP, side, i),
                        n(Kind.LEG, side, i),
                        n(Kind.PLANE_SPACING, side, i),
                    )
                    for i in names
                ),
                outer=_corner(side, g, names[-1]),
            )
        )


def add_edges(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """Outer edge of a half, and the flap it pulls."""
    n = g.name
    edge, plane = n(Kind.PLANE_EDGE, side), n(Kind.PLANE, side)
    d.place(edge, plane, n(Kind.RIDGE), (plane,), c.plane.half(side))
    d.lifts[edge] = g.layers
    if side in c.flaps:
        add_flap(d, g, side)
