"""A table on a pillar of two V-folds that face each other, with legs parallel to the spine.

The plane is glued to the tip of the far V-fold; the near one only props it, because two tips that travel
apart as the spread closes cannot both be glued to one plane. So the plane nods by the difference of the two
heights.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from compare.design.constructions.pillar.pillar_form import Pillar
from compare.design.constructions.v_fold.carry_plane import crease_of, glue_frame, space
from compare.design.linkage.mechanism import Half, Loop, Mechanism, Reach
from compare.design.linkage.mechanism_draft import Draft
from compare.design.linkage.steps import Bench, Cost, Dyad, Pages
from compare.design.spec.parts import Base
from compare.vocabulary import Kind, named
from measure.layout import Role
from measure.sides import SIDES

NEAR: Final = (Kind.NEAR_POINT, Kind.NEAR_FOOT, Kind.NEAR_TIP)
FAR: Final = (Kind.FAR_POINT, Kind.FAR_FOOT, Kind.FAR_TIP)
"""The two V-folds: where each points on the spine, the outer ends of its glue lines, its tip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RaisePillar:
    """Lays the two tips, the ridge over them and the nod of the plane.

    middle : near end to the middle of the pillar; width : length of its glue lines.
    """

    cost: ClassVar[Cost] = Cost.LONGER

    middle: float
    width: float

    def run(self, bench: Bench) -> None:
        """Lay tips (in space) and ridge."""
        n = bench.lengths
        shape = np.broadcast_shapes(bench.phi.shape, *(v.shape for v in n.values()))
        half = np.broadcast_to(bench.phi / 2, shape)
        beta = np.radians(n["glue angle"]) + np.zeros(shape)
        alpha = np.radians(n["panel angle"]) + np.zeros(shape)
        both = {"left": beta, "right": beta}, {"left": alpha, "right": alpha}
        k, _ = crease_of(half, *both)
        zero = np.zeros(shape)
        # each V-fold opens towards the other, so its crease tips away from it as the spread closes
        near = space(
            zero, n["crease near"] * k[..., 1], n["gap"] / 2 - self.middle - n["crease near"] * k[..., 2]
        )
        far = space(
            zero, n["crease far"] * k[..., 1], -n["gap"] / 2 - self.middle + n["crease far"] * k[..., 2]
        )
        bench.points["near tip"], bench.points["far tip"] = near, far
        for (name, foot, _), z, way in ((NEAR, n["gap"] / 2, -1.0), (FAR, -n["gap"] / 2, 1.0)):
            point = space(zero, zero, z - self.middle)
            bench.points[name] = point
            for side, sign in (("left", -1.0), ("right", 1.0)):
                glue = glue_frame(half, sign, beta)[1] * np.array([1.0, 1.0, way])
                bench.points[named(foot, side)] = point + self.width * glue
        bench.joints["ridge"] = near[..., :2]
        bench.nod = np.arctan2(near[..., 1] - far[..., 1], near[..., 2] - far[..., 2])


def mechanism_of_pillar(base: Base, p: Pillar) -> Mechanism:
    """Return the mechanism of a table on a pillar."""
    d = Draft()
    d.steps += [Pages(), RaisePillar(middle=p.middle, width=p.width)]
    shut = float(np.sin(np.radians(p.glue_deg + p.panel_deg)))  # of the crease, straight out from the spine
    for s in SIDES:
        leg, width, page = p.legs[s], p.plane.half(s), base.page(s)
        outer, top = named(Kind.OUTER_FOOT, s), named(Kind.LEG_TOP, s)
        edge, fore = named(Kind.PLANE_EDGE, s), named(Kind.FORE_EDGE, s)
        on_page, on_plane = named(Kind.PAGE_SPACING, s), named(Kind.PLANE_SPACING, s)
        strip, plane, base_page = named(Kind.LEG, s), named(Kind.PLANE, s), named(Kind.PAGE, s)
        d.length(on_page, leg.page_spacing, "spine", outer)
        d.length(on_plane, leg.plane_spacing, "ridge", top)
        d.length(strip, leg.leg, outer, top)
        d.length(plane, width, "ridge", edge)
        d.length(base_page, page, "spine", fore)
        d.panel(base_page, Role.PAGE, (0.0, "spine"), free=True)
        d.panel(strip, Role.LEG, (0.0, outer), (leg.leg, top))
        d.panel(plane, Role.PLANE, (0.0, "ridge"), (leg.plane_spacing, top), free=True)
        d.floors[strip] = base_page
        d.place(outer, base_page, "spine", (on_page,), leg.page_spacing)
        d.place(fore, base_page, "spine", (base_page,), page)
        legs, planes = (strip, {strip: 1.0}), (plane, {on_plane: 1.0})
        d.steps.append(
            Dyad(at_p=outer, at_q="ridge", p=legs, q=planes, meet=top, side=-1 if s == "right" else 1)
        )
        d.place(edge, plane, "ridge", (plane,), width)
        d.loops.append(
            Loop(
                name=s,
                one=("crease near", on_plane),
                other=(on_page, strip),
                weights={"crease near": shut},
            )
        )
        governs = (
            strip,
            on_plane,
            on_page,
            "crease near",
            "glue angle",
            "panel angle",
        )
        d.halves.append(Half(name=s, side=s, page=base_page, plane=plane, governs=governs))
        d.reaches.append(
            Reach(
                side=s,
                joint=edge,
                lengths=("crease near", plane),
                weights={"crease near": shut},
            )
        )
        d.reaches.append(Reach(side=s, joint=top, lengths=(on_page, strip)))
    d.lengths |= {
        "crease near": p.crease_near,
        "crease far": p.crease_far,
        "glue angle": p.glue_deg,
        "panel angle": p.panel_deg,
        "gap": p.gap,
    }
    for point, foot, tip in (NEAR, FAR):
        d.outlines += ((point, tip),)
        d.outlines += tuple((point, named(foot, s), tip) for s in SIDES)
    d.outlines += ((Kind.NEAR_TIP, Kind.FAR_TIP),)
    d.ends["height"] = ("spine", "ridge")
    d.glued_at = Kind.FAR_TIP
    d.degrees = frozenset({"glue angle", "panel angle"})
    return d.finished([named(kind, s) for kind in (Kind.PAGE, Kind.LEG, Kind.PLANE) for s in SIDES])
