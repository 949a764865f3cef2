"""A pull-up flap laid out: its lengths, hinge, panels, step, sum and reach."""

from compare.design.constructions.flap.flap_form import Flap
from compare.design.linkage.mechanism import Loop, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.design.linkage.steps import Dyad
from compare.vocabulary import Kind
from measure.layout import Role


def add_flap_lengths(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Add its three lengths."""
    n = g.name
    hinge, end = n(Kind.FLAP_HINGE, side), n(Kind.STRAP_END, side)
    d.length(hinge, flap.hinge, g.spine, hinge)
    d.length(n(Kind.FLAP, side), flap.flap, hinge, end)
    d.length(n(Kind.STRAP, side), flap.strap, n(Kind.PLANE_EDGE, side), end)


def add_hinge(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Lay its hinge on the page."""
    hinge = g.name(Kind.FLAP_HINGE, side)
    d.place(hinge, g.pages[side], g.spine, (hinge,), flap.hinge)
    d.lifts[hinge] = g.layers


def add_flap_panels(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Add the panels of flap and strap."""
    n = g.name
    name, strap, end = n(Kind.FLAP, side), n(Kind.STRAP, side), n(Kind.STRAP_END, side)
    d.panel(name, Role.FOLD, (0.0, n(Kind.FLAP_HINGE, side)), (flap.flap, end))
    d.panel(strap, Role.LEG, (0.0, n(Kind.PLANE_EDGE, side)), (flap.strap, end))
    d.floors[name] = g.pages[side]
    d.lifts[end] = g.layers


def add_flap_reach(d: Draft, g: Ground, side: str) -> None:
    """Add how far it reaches when shut."""
    n = g.name
    chain = (*g.shut[side], n(Kind.FLAP_HINGE, side), n(Kind.FLAP, side))
    d.reaches.append(Reach(side=side, joint=n(Kind.STRAP_END, side), lengths=chain))


def add_flap(d: Draft, g: Ground, side: str) -> None:
    """Lay flap and strap, and add their sum."""
    n = g.name
    edge, plane = n(Kind.PLANE_EDGE, side), n(Kind.PLANE, side)
    flap, strap = n(Kind.FLAP, side), n(Kind.STRAP, side)
    hinge = n(Kind.FLAP_HINGE, side)
    d.steps.append(
        Dyad(
            at_p=hinge,
            at_q=edge,
            p=(flap, {flap: 1.0}),
            q=(strap, {strap: 1.0}),
            meet=n(Kind.STRAP_END, side),
            side=-1 if side == "right" else 1,
        )
    )
    d.loops.append(
        Loop(
            name=flap,
            one=(n(Kind.FOOT, side), n(Kind.FOLD, side), plane, strap),
            other=(hinge, flap),
        )
    )
