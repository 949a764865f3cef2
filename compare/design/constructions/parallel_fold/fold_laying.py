"""A parallel fold laid out: its lengths, feet, ridge, halves of the plane and edges, step by step."""

from compare.design.constructions.flap.flap_laying import add_flap, add_flap_lengths, add_hinge
from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.support.support_laying import add_support_foot, add_support_lengths
from compare.design.linkage.mechanism import Loop
from compare.design.linkage.mechanism_draft import Draft, Ground, leg_names
from compare.design.linkage.steps import Corner, Legs
from compare.design.spec.parts import Base
from measure.sides import SIDES


def add_lengths(d: Draft, c: Stage, g: Ground, base: Base | None) -> None:
    """All lengths of a construction, in the order they are reported."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            add_support_lengths(d, c.supports[side], g, side)
        else:
            inner = n(f"inner foot {side}")
            d.length(n(f"foot {side}"), c.fold.foot(side), g.spine, inner)
            d.length(n(f"fold {side}"), c.fold.side(side), inner, n("ridge"))
        legs = c.legs[side]
        for leg, i in zip(legs, leg_names(len(legs)), strict=True):
            outer, top = n(f"outer foot{i} {side}"), n(f"leg top{i} {side}")
            d.length(n(f"page spacing{i} {side}"), leg.page_spacing, n(f"inner foot {side}"), outer)
            d.length(n(f"plane spacing{i} {side}"), leg.plane_spacing, n("ridge"), top)
            d.length(n(f"leg{i} {side}"), leg.leg, outer, top)
        width = c.plane.half(side)
        if width > 0:
            d.length(n(f"plane {side}"), width, n("ridge"), n(f"plane edge {side}"))
        if side in c.flaps:
            add_flap_lengths(d, c.flaps[side], g, side)
        if base is not None:
            d.length(f"page {side}", base.page(side), "spine", f"fore edge {side}")


def add_feet(d: Draft, c: Stage, g: Ground) -> None:
    """Inner feet, outer feet, hinges: joints on the pages below."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            add_support_foot(d, c.supports[side], g, side)
            continue
        foot = c.fold.foot(side)
        d.place(n(f"inner foot {side}"), page, g.spine, (n(f"foot {side}"),), foot)
        d.lifts[n(f"inner foot {side}")] = g.layers
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            terms = (n(f"foot {side}"), n(f"page spacing{i} {side}"))
            d.place(n(f"outer foot{i} {side}"), page, g.spine, terms, foot + leg.page_spacing)
            d.lifts[n(f"outer foot{i} {side}")] = g.layers
        if side in c.flaps:
            add_hinge(d, c.flaps[side], g, side)
    near = {s: n(f"support foot {s}" if s in c.supports else f"inner foot {s}") for s in SIDES}
    d.ends[n("feet")] = (near["left"], near["right"])


def add_tent(d: Draft, g: Ground) -> None:
    """Add the parallel fold over the spine below."""
    n = g.name
    d.steps.append(
        Corner(
            arms=(g.pages["right"], g.pages["left"]),
            a={n("foot right"): 1.0},
            b={n("foot left"): 1.0},
            at_p=n("inner foot right"),
            at_q=n("inner foot left"),
            p=(n("fold right"), {n("fold right"): 1.0}),
            q=(n("fold left"), {n("fold left"): 1.0}),
            meet=n("ridge"),
        )
    )
    d.loops.append(
        Loop(
            name=n("feet"),
            one=(n("foot left"), n("fold left")),
            other=(n("foot right"), n("fold right")),
            words=(n("foot + fold, left"), n("foot + fold, right")),
        )
    )


def _corner(side: str, g: Ground, i: str) -> Corner:
    """Return the four-bar of one leg: page, fold, leg, plane half."""
    n = g.name
    page, fold = g.pages[side], n(f"fold {side}")
    leg, plane = n(f"leg{i} {side}"), n(f"plane {side}")
    on_page, on_plane = n(f"page spacing{i} {side}"), n(f"plane spacing{i} {side}")
    outer, top = n(f"outer foot{i} {side}"), n(f"leg top{i} {side}")
    if side == "right":
        return Corner(
            arms=(page, fold),
            a={on_page: 1.0},
            b={fold: 1.0},
            at_p=outer,
            at_q=n("ridge"),
            p=(leg, {leg: 1.0}),
            q=(plane, {on_plane: 1.0}),
            meet=top,
        )
    return Corner(
        arms=(fold, page),
        a={fold: 1.0},
        b={on_page: 1.0},
        at_p=n("ridge"),
        at_q=outer,
        p=(plane, {on_plane: 1.0}),
        q=(leg, {leg: 1.0}),
        meet=top,
    )


def add_half(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """One half of the plane on its legs."""
    n = g.name
    names = leg_names(len(c.legs[side]))
    if len(names) == 1:
        d.steps.append(_corner(side, g, names[0]))
    else:
        d.steps.append(
            Legs(
                plane=n(f"plane {side}"),
                ridge=n("ridge"),
                legs=tuple(
                    (
                        n(f"leg{i} {side}"),
                        n(f"outer foot{i} {side}"),
                        n(f"leg top{i} {side}"),
                        n(f"leg{i} {side}"),
                        n(f"plane spacing{i} {side}"),
                    )
                    for i in names
                ),
                outer=_corner(side, g, names[-1]),
            )
        )


def add_edges(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """Outer edge of a half, and the flap it pulls."""
    n = g.name
    edge, plane = n(f"plane edge {side}"), n(f"plane {side}")
    d.place(edge, plane, n("ridge"), (plane,), c.plane.half(side))
    d.lifts[edge] = g.layers
    if side in c.flaps:
        add_flap(d, g, side)
