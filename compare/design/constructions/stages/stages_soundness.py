"""What stages of parallel folds do that their author may not want: legs that disagree, oblique halves."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from compare.design.constructions.parallel_fold.fold_form import Stage
from compare.design.constructions.stages.stages_mechanism import mechanism_of_stages
from compare.design.design_facts import Fact, LegDisagrees
from compare.design.linkage.pose import heading
from compare.design.spec.spec import Spec
from compare.design.study.soundness import CLOSING_SLACK
from compare.vocabulary import Kind, named
from measure.sides import SIDES

OBLIQUE: Final = 0.2  # mm


@dataclass(frozen=True, slots=True, kw_only=True)
class RedundantLegs(Fact):
    """A half of a plane stands on several legs where one would hold it."""

    side: str
    count: int


def redundant_legs(stages: tuple[Stage, ...]) -> tuple[Fact, ...]:
    """Return the halves that stand on more legs than they need."""
    return tuple(
        RedundantLegs(side=side, count=len(legs))
        for c in stages
        for side, legs in c.legs.items()
        if len(legs) > 1
    )


def disagreeing_legs(spec: Spec, stages: tuple[Stage, ...]) -> tuple[Fact, ...]:
    """Legs that do not agree with the others of their half, and how much longer each would have to be.

    Those are named that make no parallelogram; if all do, or none, every leg that does not fit on a plane
    held by the others.
    """
    out: list[Fact] = []
    for k, c in enumerate(stages):
        for side in SIDES:
            legs = c.legs[side]
            if len(legs) < 2:
                continue
            odd = [
                abs(leg.leg - c.fold.side(side)) > CLOSING_SLACK
                or abs(leg.plane_spacing - leg.page_spacing) > CLOSING_SLACK
                for leg in legs
            ]
            for i, leg in enumerate(legs):
                more = _needed(spec, stages, k, side, i) - leg.leg
                if abs(more) > CLOSING_SLACK and (odd[i] or all(odd) or not any(odd)):
                    name = named(Kind.LEG, side, i + 1, stage=k + 1)
                    out.append(LegDisagrees(leg=name, more_mm=more, copies_panel=False))
    return tuple(out)


def _needed(spec: Spec, stages: tuple[Stage, ...], stage: int, side: str, i: int) -> float:
    """Return how long a leg would have to be on a plane half held by the other legs, mm."""
    c = stages[stage]
    others = tuple(leg for k, leg in enumerate(c.legs[side]) if k != i)
    without = (*stages[:stage], replace(c, legs={**c.legs, side: others}))
    pose = mechanism_of_stages(spec.base, without).solve({}, spec.opening)
    leg = c.legs[side][i]
    page = pose.turns[named(Kind.PLANE, side, stage=stage) if stage else named(Kind.PAGE, side)]
    foot = pose.joints[named(Kind.INNER_FOOT, side, stage=stage + 1)] + leg.page_spacing * heading(page)
    plane = pose.turns[named(Kind.PLANE, side, stage=stage + 1)]
    top = pose.joints[named(Kind.RIDGE, stage=stage + 1)] + leg.plane_spacing * heading(plane)
    return float(np.hypot(*(top - foot)))


def oblique_halves(stages: tuple[Stage, ...]) -> dict[str, float]:
    """Halves that are drawn oblique on purpose, and by how many mm.

    Leg longer than the fold by as much as the plane spacing exceeds the page spacing: the spread shuts all
    the same, which nobody draws by mistake.
    """
    out: dict[str, float] = {}
    for k, c in enumerate(stages):
        for side in SIDES:
            if side in c.supports or len(c.legs[side]) != 1:
                continue
            leg = c.legs[side][0]
            more, wider = leg.leg - c.fold.side(side), leg.plane_spacing - leg.page_spacing
            if abs(more - wider) <= CLOSING_SLACK and abs(more) > OBLIQUE:
                out[named("", side, stage=k + 1)] = more
    return out
