"""A plain support laid out: its lengths, foot, panel, step, sum and reach."""

from compare.design.constructions.support.support_form import Support
from compare.design.constructions.support.support_step import Prop
from compare.design.linkage.mechanism import Loop, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground
from measure.layout import Role


def add_support_lengths(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Add its three lengths."""
    n = g.name
    foot, top = n(f"support foot {side}"), n(f"support top {side}")
    d.length(foot, support.foot, g.spine, foot)
    d.length(n(f"support {side}"), support.length, foot, top)
    d.length(n(f"support tab {side}"), abs(support.tab), n("ridge"), top)


def add_support_foot(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Lay its foot on the page."""
    name = g.name(f"support foot {side}")
    d.place(name, g.pages[side], g.spine, (name,), support.foot)
    d.lifts[name] = g.layers


def add_support_panel(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Add its panel."""
    n = g.name
    foot, top = n(f"support foot {side}"), n(f"support top {side}")
    d.panel(n(f"support {side}"), Role.LEG, (0.0, foot), (support.length, top))
    d.floors[n(f"support {side}")] = g.pages[side]


def add_support_reach(d: Draft, g: Ground, side: str) -> None:
    """Add how far it reaches when shut."""
    n = g.name
    chain = (*g.shut[side], n(f"support foot {side}"), n(f"support {side}"))
    d.reaches.append(Reach(side=side, joint=n(f"support top {side}"), lengths=chain, words="support"))


def add_prop(d: Draft, support: Support, g: Ground, prop: str) -> None:
    """Plane on a parallelogram of one side and a support from the other (`prop`)."""
    n = g.name
    own = "left" if prop == "right" else "right"
    inside = support.tab >= 0
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
