"""A plain support laid out: its lengths, foot, panel, step, sum and reach."""

from compare.design.constructions.support.support_form import Support
from compare.design.constructions.support.support_step import Prop
from compare.design.linkage.mechanism import Loop, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.vocabulary import Kind
from measure.layout import Role


def add_support_lengths(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Add its three lengths."""
    n = g.name
    foot, top = n(Kind.SUPPORT_FOOT, side), n(Kind.SUPPORT_TOP, side)
    d.length(foot, support.foot, g.spine, foot)
    d.length(n(Kind.SUPPORT, side), support.length, foot, top)
    d.length(n(Kind.SUPPORT_TAB, side), abs(support.tab), n(Kind.RIDGE), top)


def add_support_foot(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Lay its foot on the page."""
    name = g.name(Kind.SUPPORT_FOOT, side)
    d.place(name, g.pages[side], g.spine, (name,), support.foot)
    d.lifts[name] = g.layers


def add_support_panel(d: Draft, support: Support, g: Ground, side: str) -> None:
    """Add its panel."""
    n = g.name
    foot, top = n(Kind.SUPPORT_FOOT, side), n(Kind.SUPPORT_TOP, side)
    d.panel(n(Kind.SUPPORT, side), Role.LEG, (0.0, foot), (support.length, top))
    d.floors[n(Kind.SUPPORT, side)] = g.pages[side]


def add_support_reach(d: Draft, g: Ground, side: str) -> None:
    """Add how far it reaches when shut."""
    n = g.name
    chain = (*g.shut[side], n(Kind.SUPPORT_FOOT, side), n(Kind.SUPPORT, side))
    d.reaches.append(Reach(side=side, joint=n(Kind.SUPPORT_TOP, side), lengths=chain))


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
            foot={n(Kind.FOOT, own): 1.0},
            support_foot={n(Kind.SUPPORT_FOOT, prop): 1.0},
            fold=(n(Kind.FOLD, own), n(Kind.FOLD, own)),
            leg=(n(Kind.LEG, own), n(Kind.LEG, own)),
            spacing_page=n(Kind.PAGE_SPACING, own),
            spacing_plane=n(Kind.PLANE_SPACING, own),
            plane=n(Kind.PLANE, own),
            support=(n(Kind.SUPPORT, prop), n(Kind.SUPPORT, prop)),
            tab=n(Kind.SUPPORT_TAB, prop),
            tab_sign=1.0 if inside else -1.0,
            at_foot=n(Kind.INNER_FOOT, own),
            at_outer=n(Kind.OUTER_FOOT, own),
            at_support=n(Kind.SUPPORT_FOOT, prop),
            ridge=n(Kind.RIDGE),
            leg_top=n(Kind.LEG_TOP, own),
            support_top=n(Kind.SUPPORT_TOP, prop),
        )
    )
    tab = (n(Kind.SUPPORT_TAB, prop),)
    d.loops.append(
        Loop(
            name=n(Kind.SUPPORT, prop),
            one=(n(Kind.SUPPORT_FOOT, prop), n(Kind.SUPPORT, prop), *(() if inside else tab)),
            other=(n(Kind.FOOT, own), n(Kind.FOLD, own), *(tab if inside else ())),
        )
    )
