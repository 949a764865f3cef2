"""A parallel fold's panels, what must be equal in it, what governs each half, and how far it reaches shut."""

from compare.design.constructions.flap.flap_laying import add_flap_panels, add_flap_reach
from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.support.support_laying import add_support_panel, add_support_reach
from compare.design.linkage.mechanism import Half, Loop, Pair, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground, leg_names
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
            n(f"fold {side}"),
            Role.FOLD,
            (0.0, n(f"inner foot {side}")),
            (c.fold.side(side), n("ridge")),
        )
        d.floors[n(f"fold {side}")] = g.pages[side]
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            top = n(f"leg top{i} {side}")
            name = n(f"leg{i} {side}")
            d.panel(name, Role.LEG, (0.0, n(f"outer foot{i} {side}")), (leg.leg, top))
            d.floors[name] = g.pages[side]
            d.lifts[top] = g.layers
        d.lifts[n("ridge")] = g.layers
    for side in SIDES:
        width = c.plane.half(side)
        if width <= 0:
            continue
        plane = n(f"plane {side}")
        d.panel(plane, Role.PLANE, (0.0, n("ridge")), free=side not in c.flaps)
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            d.on[plane].append((leg.plane_spacing, n(f"leg top{i} {side}")))
        other = "left" if side == "right" else "right"
        if other in c.supports:
            d.on[plane].append((c.supports[other].tab, n(f"support top {other}")))
        if side in c.flaps:
            add_flap_panels(d, c.flaps[side], g, side)


def add_rules(d: Draft, c: Stage, g: Ground, side: str) -> None:
    """Pairs and loops of one half, and what governs it."""
    n = g.name
    fold = n(f"fold {side}")
    governs: list[str] = []
    for i in leg_names(len(c.legs[side])):
        leg, plane, page = n(f"leg{i} {side}"), n(f"plane spacing{i} {side}"), n(f"page spacing{i} {side}")
        governs += [leg, fold, plane, page]
        d.pairs.append(Pair(name=f"{n(f'leg{i}')} = fold {side}", first=leg, second=fold))
        d.pairs.append(
            Pair(name=f"{n(f'plane spacing{i}')} = page spacing{i} {side}", first=plane, second=page)
        )
        d.loops.append(
            Loop(
                name=n(f"{side}{i and ', leg' + i}"),
                one=(fold, plane),
                other=(page, leg),
                words=("fold + plane spacing", "page spacing + leg"),
            )
        )
    other = "left" if side == "right" else "right"
    feet = [n(f"foot {side}")]
    if other in c.supports:
        feet += [n(f"support foot {other}"), n(f"support {other}"), n(f"support tab {other}")]
    else:
        feet += [n(f"foot {other}"), n(f"fold {other}")]
    d.halves.append(
        Half(
            name=n(side),
            side=side,
            page=f"page {side}",
            plane=n(f"plane {side}"),
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
        foot, fold = n(f"foot {side}"), n(f"fold {side}")
        ridge = (*g.shut[side], foot, fold)
        d.reaches.append(Reach(side=side, joint=n("ridge"), lengths=ridge, words=f"the {n('ridge')}"))
        if c.plane.half(side) > 0:
            edge = n(f"plane edge {side}")
            words = f"the {n('plane')}'s {side} edge" if not g.prefix else f"the {edge}"
            d.reaches.append(Reach(side=side, joint=edge, lengths=(*ridge, n(f"plane {side}")), words=words))
        for i in leg_names(len(c.legs[side])):
            leg = (*g.shut[side], foot, n(f"page spacing{i} {side}"), n(f"leg{i} {side}"))
            top = n(f"leg top{i} {side}")
            d.reaches.append(
                Reach(side=side, joint=top, lengths=leg, words=f"the top of the {side} {n(f'leg{i}')}")
            )
        if side in c.flaps:
            add_flap_reach(d, g, side)
