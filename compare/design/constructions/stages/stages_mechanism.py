"""Parallel folds one on the other as a linkage."""

from collections.abc import Sequence
from typing import Final

from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.parallel_fold.fold_laying import (
    add_edges,
    add_feet,
    add_half,
    add_lengths,
    add_tent,
)
from compare.design.constructions.parallel_fold.fold_rules import add_panels, add_reaches, add_rules
from compare.design.constructions.support.support_laying import add_prop
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.mechanism_draft import Draft, Ground
from compare.design.linkage.steps import Pages
from compare.design.spec.parts import Base
from compare.vocabulary import Kind, leg_numbers, named
from measure.layout import Role
from measure.sides import SIDES

LAYERS_PER_STAGE: Final = 2  # card thicknesses between the tab under a plane and a tab on top of it


def mechanism_of_stages(base: Base, stages: Sequence[Stage]) -> Mechanism:
    """Return the mechanism of a parallel fold on the base and of others, each on the plane below it."""
    d = Draft()
    d.steps.append(Pages())
    for side in SIDES:
        d.panel(named(Kind.PAGE, side), Role.PAGE, (0.0, "spine"), free=True)
    d.lifts["spine"] = 0
    ground = Ground(1, "spine", {s: named(Kind.PAGE, s) for s in SIDES}, {s: () for s in SIDES}, (), 0)
    order = [named(Kind.PAGE, s) for s in SIDES]
    for k, c in enumerate(stages, start=1):
        n = ground.name
        add_lengths(d, c, ground, base if k == 1 else None)
        add_panels(d, c, ground)
        add_feet(d, c, ground)
        props = [s for s in SIDES if s in c.supports]
        if props:
            add_prop(d, c.supports[props[0]], ground, props[0])
        else:
            add_tent(d, ground)
        for side in SIDES:
            if c.legs[side]:
                if not props:
                    add_half(d, c, ground, side)
                add_rules(d, c, ground, side)
                add_edges(d, c, ground, side)
        add_reaches(d, c, ground)
        order += [n(Kind.FOLD, s) for s in SIDES if s not in c.supports]
        order += [n(Kind.SUPPORT, s) for s in SIDES if s in c.supports]
        order += [n(Kind.LEG, s, i) for s in SIDES for i in leg_numbers(len(c.legs[s]))]
        order += [n(Kind.PLANE, s) for s in SIDES if c.plane.half(s) > 0]
        order += [n(kind, s) for s in SIDES if s in c.flaps for kind in (Kind.FLAP, Kind.STRAP)]
        if k == 1:
            for side in SIDES:
                page = named(Kind.PAGE, side)
                d.place(named(Kind.FORE_EDGE, side), page, "spine", (page,), base.page(side))
        if k < len(stages):
            halves = [n("", s) for s in SIDES]
            ground = Ground(
                stage=k + 1,
                spine=n(Kind.RIDGE),
                pages={s: n(Kind.PLANE, s) for s in SIDES},
                shut={s: (*ground.shut[s], n(Kind.FOOT, s), n(Kind.FOLD, s)) for s in SIDES},
                governs=tuple(dict.fromkeys(g for h in d.halves if h.name in halves for g in h.governs)),
                layers=ground.layers + LAYERS_PER_STAGE,
            )
    return d.finished(order)
