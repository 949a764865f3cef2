"""A pull-up flap laid out: its lengths, hinge, panels, step, sum and reach."""

from compare.design.constructions.flap.flap_form import Flap
from compare.design.linkage.mechanism import Loop, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.design.linkage.steps import Dyad
from measure.layout import Role


def add_flap_lengths(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Add its three lengths."""
    n = g.name
    hinge, end = n(f"flap hinge {side}"), n(f"strap end {side}")
    d.length(hinge, flap.hinge, g.spine, hinge)
    d.length(n(f"flap {side}"), flap.flap, hinge, end)
    d.length(n(f"strap {side}"), flap.strap, n(f"plane edge {side}"), end)


def add_hinge(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Lay its hinge on the page."""
    hinge = g.name(f"flap hinge {side}")
    d.place(hinge, g.pages[side], g.spine, (hinge,), flap.hinge)
    d.lifts[hinge] = g.layers


def add_flap_panels(d: Draft, flap: Flap, g: Ground, side: str) -> None:
    """Add the panels of flap and strap."""
    n = g.name
    name, strap, end = n(f"flap {side}"), n(f"strap {side}"), n(f"strap end {side}")
    d.panel(name, Role.FOLD, (0.0, n(f"flap hinge {side}")), (flap.flap, end))
    d.panel(strap, Role.LEG, (0.0, n(f"plane edge {side}")), (flap.strap, end))
    d.floors[name] = g.pages[side]
    d.lifts[end] = g.layers


def add_flap_reach(d: Draft, g: Ground, side: str) -> None:
    """Add how far it reaches when shut."""
    n = g.name
    chain = (*g.shut[side], n(f"flap hinge {side}"), n(f"flap {side}"))
    d.reaches.append(Reach(side=side, joint=n(f"strap end {side}"), lengths=chain, words=f"the {side} flap"))


def add_flap(d: Draft, g: Ground, side: str) -> None:
    """Lay flap and strap, and add their sum."""
    n = g.name
    edge, plane = n(f"plane edge {side}"), n(f"plane {side}")
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
