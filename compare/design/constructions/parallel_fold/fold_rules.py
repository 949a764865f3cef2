"""A parallel fold's panels, what must be equal in it, what governs each half, and how far it reaches shut."""

from compare.design.constructions.flap.flap_laying import add_flap_panels, add_flap_reach
from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.support.support_laying import add_support_panel, add_support_reach
from compare.design.linkage.mechanism import Half, Loop, Pair, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.vocabulary import Kind, closing_rule, equality, leg_numbers, named
from measure.layout import Role
from measure.sides import SIDES


def add_panels(d: Draft, c: Stage, g: Ground) -> None:
    """Panels above the pages, with their joints."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            add_support_panel(d, c.supports[side], g, side)
            continue
        d.panel(
            n(Kind.FOLD, side),
            Role.FOLD,
            (0.0, n(Kind.INNER_FOOT, side)),
            (c.fold.side(side), n(Kind.RIDGE)),
        )
        d.floors[n(Kind.FOLD, side)] = g.pages[side]
        for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True):
            top = n(Kind.LEG_TOP, side, i)
            name = n(Kind.LEG, side, i)
            d.panel(name, Role.LEG, (0.0, n(Kind.OUTER_FOOT, side, i)), (leg.leg, top))
            d.floors[name] = g.pages[side]
            d.lifts[top] = g.layers
        d.lifts[n(Kind.RIDGE)] = g.layers
    for side in SIDES:
        width = c.plane.half(side)
        if width <= 0:
            continue
        plane = n(Kind.PLANE, side)
        d.panel(plane, Role.PLANE, (0.0, n(Kind.RIDGE)), free=side not in c.flaps)
        for leg, i in zip(c.legs[side], leg_numbers(len(c.legs[side])), strict=True):
            d.on[plane].append((leg.plane_spacing, n(Kind.LEG_TOP, side, i)))
        other = "left" if side == "right" else "right"
        if other in c.supports:
            d.on[plane].append((c.supports[other].tab, n(Kind.SUPPORT_TOP, other)))
        if side in c.flaps:
            add_flap_panels(d, c.flaps[side], g, side)


def add_rules(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """Pairs and loops of one half, and what governs it."""
    n = g.name
    fold = n(Kind.FOLD, side)
    governs: list[str] = []
    for i in leg_numbers(len(c.legs[side])):
        leg, plane, page = n(Kind.LEG, side, i), n(Kind.PLANE_SPACING, side, i), n(Kind.PAGE_SPACING, side, i)
        governs += [leg, fold, plane, page]
        d.pairs.append(Pair(name=equality(leg, fold), first=leg, second=fold))
        d.pairs.append(Pair(name=equality(plane, page), first=plane, second=page))
        d.loops.append(
            Loop(
                name=closing_rule(side, i, stage=g.stage),
                one=(fold, plane),
                other=(page, leg),
            )
        )
    other = "left" if side == "right" else "right"
    feet = [n(Kind.FOOT, side)]
    if other in c.supports:
        feet += [n(Kind.SUPPORT_FOOT, other), n(Kind.SUPPORT, other), n(Kind.SUPPORT_TAB, other)]
    else:
        feet += [n(Kind.FOOT, other), n(Kind.FOLD, other)]
    d.halves.append(
        Half(
            name=n("", side),
            side=side,
            page=named(Kind.PAGE, side),
            plane=n(Kind.PLANE, side),
            governs=tuple(dict.fromkeys([*governs, *feet, *g.governs])),
        )
    )


def add_reaches(d: Draft, c: Stage, g: Ground) -> None:
    """Chains that lie stretched outwards when shut."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            add_support_reach(d, g, side)
            continue
        foot, fold = n(Kind.FOOT, side), n(Kind.FOLD, side)
        ridge = (*g.shut[side], foot, fold)
        d.reaches.append(Reach(side=side, joint=n(Kind.RIDGE), lengths=ridge))
        if c.plane.half(side) > 0:
            edge = n(Kind.PLANE_EDGE, side)
            d.reaches.append(Reach(side=side, joint=edge, lengths=(*ridge, n(Kind.PLANE, side))))
        for i in leg_numbers(len(c.legs[side])):
            leg = (*g.shut[side], foot, n(Kind.PAGE_SPACING, side, i), n(Kind.LEG, side, i))
            top = n(Kind.LEG_TOP, side, i)
            d.reaches.append(Reach(side=side, joint=top, lengths=leg))
        if side in c.flaps:
            add_flap_reach(d, g, side)
