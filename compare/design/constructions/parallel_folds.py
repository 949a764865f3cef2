"""From trade terms to a mechanism: parallel folds, parallelograms, supports, flaps, stages."""

from collections.abc import Sequence
from typing import Final

from compare.design.constructions.laying import add_edges, add_feet, add_half, add_lengths, add_prop, add_tent
from compare.design.linkage.mechanism import Half, Loop, Mechanism, Pair, Reach
from compare.design.linkage.mechanism_draft import Draft, Ground, leg_names
from compare.design.linkage.steps import Pages
from compare.design.spec.parts import Base, Construction
from measure.layout import Role
from measure.sides import SIDES

LAYERS_PER_STAGE: Final = 2  # card thicknesses between the tab under a plane and a tab on top of it


def _panels(d: Draft, c: Construction, g: Ground) -> None:
    """Panels above the pages, with their joints."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            foot, top = n(f"support foot {side}"), n(f"support top {side}")
            length = c.supports[side].length
            d.panel(n(f"support {side}"), Role.LEG, (0.0, foot), (length, top))
            d.floors[n(f"support {side}")] = page
            continue
        d.panel(
            n(f"fold {side}"),
            Role.FOLD,
            (0.0, n(f"inner foot {side}")),
            (getattr(c.fold, side), n("ridge")),
        )
        d.floors[n(f"fold {side}")] = page
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            top = n(f"leg top{i} {side}")
            name = n(f"leg{i} {side}")
            d.panel(name, Role.LEG, (0.0, n(f"outer foot{i} {side}")), (leg.leg, top))
            d.floors[name] = page
            d.lifts[top] = g.layers
        d.lifts[n("ridge")] = g.layers
    for side in SIDES:
        width: float = getattr(c.plane, side)
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
            flap, strap, end = n(f"flap {side}"), n(f"strap {side}"), n(f"strap end {side}")
            d.panel(flap, Role.FOLD, (0.0, n(f"flap hinge {side}")), (c.flaps[side].flap, end))
            d.panel(strap, Role.LEG, (0.0, n(f"plane edge {side}")), (c.flaps[side].strap, end))
            d.floors[flap] = g.pages[side]
            d.lifts[end] = g.layers


def _rules(d: Draft, c: Construction, g: Ground, side: str) -> None:
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


def _reaches(d: Draft, c: Construction, g: Ground) -> None:
    """Chains that lie stretched outwards when shut."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            chain = (*g.shut[side], n(f"support foot {side}"), n(f"support {side}"))
            d.reaches.append(Reach(side=side, joint=n(f"support top {side}"), lengths=chain, words="support"))
            continue
        foot, fold = n(f"foot {side}"), n(f"fold {side}")
        ridge = (*g.shut[side], foot, fold)
        d.reaches.append(Reach(side=side, joint=n("ridge"), lengths=ridge, words=f"the {n('ridge')}"))
        if getattr(c.plane, side) > 0:
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
            flap = (*g.shut[side], n(f"flap hinge {side}"), n(f"flap {side}"))
            end = n(f"strap end {side}")
            d.reaches.append(Reach(side=side, joint=end, lengths=flap, words=f"the {side} flap"))


def mechanism_of_stages(base: Base, constructions: Sequence[Construction]) -> Mechanism:
    """Return the mechanism of a construction on the base and of others, each on the plane below it."""
    d = Draft()
    d.steps.append(Pages())
    for side in SIDES:
        d.panel(f"page {side}", Role.PAGE, (0.0, "spine"), free=True)
    d.lifts["spine"] = 0
    ground = Ground("", "spine", {s: f"page {s}" for s in SIDES}, {s: () for s in SIDES}, (), 0)
    order = [f"page {s}" for s in SIDES]
    for k, c in enumerate(constructions, start=1):
        n = ground.name
        add_lengths(d, c, ground, base if k == 1 else None)
        _panels(d, c, ground)
        add_feet(d, c, ground)
        props = [s for s in SIDES if s in c.supports]
        if props:
            add_prop(d, c, ground, props[0])
        else:
            add_tent(d, ground)
        for side in SIDES:
            if c.legs[side]:
                if not props:
                    add_half(d, c, ground, side)
                _rules(d, c, ground, side)
                add_edges(d, c, ground, side)
        _reaches(d, c, ground)
        order += [n(f"fold {s}") for s in SIDES if s not in c.supports]
        order += [n(f"support {s}") for s in SIDES if s in c.supports]
        order += [n(f"leg{i} {s}") for s in SIDES for i in leg_names(len(c.legs[s]))]
        order += [n(f"plane {s}") for s in SIDES if getattr(c.plane, s) > 0]
        order += [n(f"{p} {s}") for s in SIDES if s in c.flaps for p in ("flap", "strap")]
        if k == 1:
            for side in SIDES:
                at: float = getattr(base, f"page_{side}")
                d.place(f"fore edge {side}", f"page {side}", "spine", (f"page {side}",), at)
        if k < len(constructions):
            ground = Ground(
                prefix=f"stage {k + 1} ",
                spine=n("ridge"),
                pages={s: n(f"plane {s}") for s in SIDES},
                shut={s: (*ground.shut[s], n(f"foot {s}"), n(f"fold {s}")) for s in SIDES},
                governs=tuple(
                    dict.fromkeys(g for h in d.halves if h.name in (n("left"), n("right")) for g in h.governs)
                ),
                layers=ground.layers + LAYERS_PER_STAGE,
            )
    return d.finished(order)
