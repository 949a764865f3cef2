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
from compare.design.linkage.mechanism_draft import Draft, Ground, leg_names
from compare.design.linkage.steps import Pages
from compare.design.spec.parts import Base
from measure.layout import Role
from measure.sides import SIDES

LAYERS_PER_STAGE: Final = 2  # card thicknesses between the tab under a plane and a tab on top of it


def mechanism_of_stages(base: Base, stages: Sequence[Stage]) -> Mechanism:
    """Return the mechanism of a parallel fold on the base and of others, each on the plane below it."""
    d = Draft()
    d.steps.append(Pages())
    for side in SIDES:
        d.panel(f"page {side}", Role.PAGE, (0.0, "spine"), free=True)
    d.lifts["spine"] = 0
    ground = Ground("", "spine", {s: f"page {s}" for s in SIDES}, {s: () for s in SIDES}, (), 0)
    order = [f"page {s}" for s in SIDES]
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
        order += [n(f"fold {s}") for s in SIDES if s not in c.supports]
        order += [n(f"support {s}") for s in SIDES if s in c.supports]
        order += [n(f"leg{i} {s}") for s in SIDES for i in leg_names(len(c.legs[s]))]
        order += [n(f"plane {s}") for s in SIDES if c.plane.half(s) > 0]
        order += [n(f"{p} {s}") for s in SIDES if s in c.flaps for p in ("flap", "strap")]
        if k == 1:
            for side in SIDES:
                d.place(f"fore edge {side}", f"page {side}", "spine", (f"page {side}",), base.page(side))
        if k < len(stages):
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


def name_prefix(stage: int) -> str:
    """Return what stands before the names of a stage (0 = the fold on the base): "" or "stage 2 "."""
    return f"stage {stage + 1} " if stage else ""
