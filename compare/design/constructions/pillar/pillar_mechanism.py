"""A table on a pillar of two V-folds that face each other, with legs parallel to the spine.

The plane is glued to the tip of the far V-fold; the near one only props it, because two tips that travel
apart as the spread closes cannot both be glued to one plane. So the plane nods by the difference of the two
heights.
"""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from compare.design.constructions.pillar.pillar_form import Pillar
from compare.design.constructions.v_fold.carry_plane import crease_of, glue_frame, space
from compare.design.linkage.mechanism import Half, Loop, Mechanism, Reach
from compare.design.linkage.mechanism_draft import Draft
from compare.design.linkage.steps import Bench, Cost, Dyad, Pages
from compare.design.spec.parts import Base
from measure.layout import Role
from measure.sides import SIDES


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
        for name, z, way in (("near", n["gap"] / 2, -1.0), ("far", -n["gap"] / 2, 1.0)):
            point = space(zero, zero, z - self.middle)
            bench.points[f"{name} point"] = point
            for side, sign in (("left", -1.0), ("right", 1.0)):
                glue = glue_frame(half, sign, beta)[1] * np.array([1.0, 1.0, way])
                bench.points[f"{name} foot {side}"] = point + self.width * glue
        bench.joints["ridge"] = near[..., :2]
        bench.nod = np.arctan2(near[..., 1] - far[..., 1], near[..., 2] - far[..., 2])


def mechanism_of_pillar(base: Base, p: Pillar) -> Mechanism:
    """Return the mechanism of a table on a pillar."""
    d = Draft()
    d.steps += [Pages(), RaisePillar(middle=p.middle, width=p.width)]
    shut = float(np.sin(np.radians(p.glue_deg + p.panel_deg)))  # of the crease, straight out from the spine
    for s in SIDES:
        leg, width, page = p.legs[s], p.plane.half(s), base.page(s)
        outer, top, edge, fore = f"outer foot {s}", f"leg top {s}", f"plane edge {s}", f"fore edge {s}"
        d.length(f"page spacing {s}", leg.page_spacing, "spine", outer)
        d.length(f"plane spacing {s}", leg.plane_spacing, "ridge", top)
        d.length(f"leg {s}", leg.leg, outer, top)
        d.length(f"plane {s}", width, "ridge", edge)
        d.length(f"page {s}", page, "spine", fore)
        d.panel(f"page {s}", Role.PAGE, (0.0, "spine"), free=True)
        d.panel(f"leg {s}", Role.LEG, (0.0, outer), (leg.leg, top))
        d.panel(f"plane {s}", Role.PLANE, (0.0, "ridge"), (leg.plane_spacing, top), free=True)
        d.floors[f"leg {s}"] = f"page {s}"
        d.place(outer, f"page {s}", "spine", (f"page spacing {s}",), leg.page_spacing)
        d.place(fore, f"page {s}", "spine", (f"page {s}",), page)
        legs, planes = (f"leg {s}", {f"leg {s}": 1.0}), (f"plane {s}", {f"plane spacing {s}": 1.0})
        d.steps.append(
            Dyad(at_p=outer, at_q="ridge", p=legs, q=planes, meet=top, side=-1 if s == "right" else 1)
        )
        d.place(edge, f"plane {s}", "ridge", (f"plane {s}",), width)
        d.loops.append(
            Loop(
                name=s,
                one=("crease near", f"plane spacing {s}"),
                other=(f"page spacing {s}", f"leg {s}"),
                words=("pillar (lying) + plane spacing", "page spacing + leg"),
                weights={"crease near": shut},
            )
        )
        governs = (
            f"leg {s}",
            f"plane spacing {s}",
            f"page spacing {s}",
            "crease near",
            "glue angle",
            "panel angle",
        )
        d.halves.append(Half(name=s, side=s, page=f"page {s}", plane=f"plane {s}", governs=governs))
        d.reaches.append(
            Reach(
                side=s,
                joint=edge,
                lengths=("crease near", f"plane {s}"),
                words=f"the plane's {s} edge",
                weights={"crease near": shut},
            )
        )
        d.reaches.append(
            Reach(
                side=s, joint=top, lengths=(f"page spacing {s}", f"leg {s}"), words=f"the top of the {s} leg"
            )
        )
    d.lengths |= {
        "crease near": p.crease_near,
        "crease far": p.crease_far,
        "glue angle": p.glue_deg,
        "panel angle": p.panel_deg,
        "gap": p.gap,
    }
    for name in ("near", "far"):
        d.outlines += ((f"{name} point", f"{name} tip"),)
        d.outlines += tuple((f"{name} point", f"{name} foot {s}", f"{name} tip") for s in SIDES)
    d.outlines += (("near tip", "far tip"),)
    d.ends["height"] = ("spine", "ridge")
    d.glued_at = "far tip"
    d.degrees = frozenset({"glue angle", "panel angle"})
    return d.finished([f"{kind} {s}" for kind in ("page", "leg", "plane") for s in SIDES])
