"""How a construction is laid out: its lengths, feet, fold, halves, support and edges, step by step."""

from compare.design.linkage.mechanism import Loop
from compare.design.linkage.mechanism_draft import Draft, Ground, leg_names
from compare.design.linkage.steps import Corner, Dyad, Legs, Prop
from compare.design.spec.parts import Base, Construction
from measure.sides import SIDES


def add_lengths(d: Draft, c: Construction, g: Ground, base: Base | None) -> None:
    """All lengths of a construction, in the order they are reported."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            support = c.supports[side]
            d.length(n(f"support foot {side}"), support.foot, g.spine, n(f"support foot {side}"))
            d.length(
                n(f"support {side}"), support.length, n(f"support foot {side}"), n(f"support top {side}")
            )
            d.length(n(f"support tab {side}"), abs(support.tab), n("ridge"), n(f"support top {side}"))
        else:
            inner = n(f"inner foot {side}")
            d.length(n(f"foot {side}"), getattr(c.fold, f"foot_{side}"), g.spine, inner)
            d.length(n(f"fold {side}"), getattr(c.fold, side), inner, n("ridge"))
        legs = c.legs[side]
        for leg, i in zip(legs, leg_names(len(legs)), strict=True):
            outer, top = n(f"outer foot{i} {side}"), n(f"leg top{i} {side}")
            d.length(n(f"page spacing{i} {side}"), leg.page_spacing, n(f"inner foot {side}"), outer)
            d.length(n(f"plane spacing{i} {side}"), leg.plane_spacing, n("ridge"), top)
            d.length(n(f"leg{i} {side}"), leg.leg, outer, top)
        width: float = getattr(c.plane, side)
        if width > 0:
            d.length(n(f"plane {side}"), width, n("ridge"), n(f"plane edge {side}"))
        if side in c.flaps:
            flap = c.flaps[side]
            hinge, end = n(f"flap hinge {side}"), n(f"strap end {side}")
            d.length(n(f"flap hinge {side}"), flap.hinge, g.spine, hinge)
            d.length(n(f"flap {side}"), flap.flap, hinge, end)
            d.length(n(f"strap {side}"), flap.strap, n(f"plane edge {side}"), end)
        if base is not None:
            d.length(f"page {side}", getattr(base, f"page_{side}"), "spine", f"fore edge {side}")


def add_feet(d: Draft, c: Construction, g: Ground) -> None:
    """Inner feet, outer feet, hinges: joints on the pages below."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            name = n(f"support foot {side}")
            d.place(name, page, g.spine, (name,), c.supports[side].foot)
            d.lifts[name] = g.layers
            continue
        foot: float = getattr(c.fold, f"foot_{side}")
        d.place(n(f"inner foot {side}"), page, g.spine, (n(f"foot {side}"),), foot)
        d.lifts[n(f"inner foot {side}")] = g.layers
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            terms = (n(f"foot {side}"), n(f"page spacing{i} {side}"))
            d.place(n(f"outer foot{i} {side}"), page, g.spine, terms, foot + leg.page_spacing)
            d.lifts[n(f"outer foot{i} {side}")] = g.layers
        if side in c.flaps:
            hinge = n(f"flap hinge {side}")
            d.place(hinge, page, g.spine, (hinge,), c.flaps[side].hinge)
            d.lifts[hinge] = g.layers
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


def add_half(d: Draft, c: Construction, g: Ground, side: str) -> None:
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


def add_prop(d: Draft, c: Construction, g: Ground, prop: str) -> None:
    """Plane on a parallelogram of one side and a support from the other (`prop`)."""
    n = g.name
    own = "left" if prop == "right" else "right"
    inside = c.supports[prop].tab >= 0
    d.steps.append(
        Prop(
            sign=1.0 if own == "right" else -1.0,
            own_page=g.pages[own],
            other_page=g.pages[prop],
            foot={n(f"foot {own}"): 1.0},
            support_foot={n(f"support foot {prop}"): 1.0},
            fold=(n(f"fold {own}"), n(f"fold {own}")),
            leg=(n(f"leg {own}"), n(f"leg {own}")),
            spacing_page=n(f"page spacing {own}"),
            spacing_plane=n(f"plane spacing {own}"),
            plane=n(f"plane {own}"),
            support=(n(f"support {prop}"), n(f"support {prop}")),
            tab=n(f"support tab {prop}"),
            tab_sign=1.0 if inside else -1.0,
            at_foot=n(f"inner foot {own}"),
            at_outer=n(f"outer foot {own}"),
            at_support=n(f"support foot {prop}"),
            ridge=n("ridge"),
            leg_top=n(f"leg top {own}"),
            support_top=n(f"support top {prop}"),
        )
    )
    tab = (n(f"support tab {prop}"),)
    d.loops.append(
        Loop(
            name=n(f"support {prop}"),
            one=(n(f"support foot {prop}"), n(f"support {prop}"), *(() if inside else tab)),
            other=(n(f"foot {own}"), n(f"fold {own}"), *(tab if inside else ())),
            words=(
                "support foot + support" + ("" if inside else " + support tab"),
                "foot + fold" + (" + support tab" if inside else ""),
            ),
        )
    )


def add_edges(d: Draft, c: Construction, g: Ground, side: str) -> None:
    """Outer edge of a half, and the flap it pulls."""
    n = g.name
    edge, plane = n(f"plane edge {side}"), n(f"plane {side}")
    d.place(edge, plane, n("ridge"), (plane,), getattr(c.plane, side))
    d.lifts[edge] = g.layers
    if side not in c.flaps:
        return
    flap, strap = n(f"flap {side}"), n(f"strap {side}")
    hinge = n(f"flap hinge {side}")
    d.steps.append(
        Dyad(
            at_p=hinge,
            at_q=edge,
            p=(flap, {flap: 1.0}),
            q=(strap, {strap: 1.0}),
            meet=n(f"strap end {side}"),
            side=-1 if side == "right" else 1,
        )
    )
    d.loops.append(
        Loop(
            name=flap,
            one=(n(f"foot {side}"), n(f"fold {side}"), plane, strap),
            other=(hinge, flap),
            words=("foot + fold + plane + strap", "flap hinge + flap"),
        )
    )
