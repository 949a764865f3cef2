"""What is to be looked at in a design before anything is cut, and what is worth knowing, in plain words."""

from typing import Final

import numpy as np

from compare.design.spec.spec import Spec
from compare.design.study.motion import NEARLY_SHUT, Motion
from compare.design.study.soundness import oblique_halves

WORTH_SAYING_MM: Final = 0.05
CLOSED_DEG: Final = 3.0  # below this the spread is as good as shut, and the sums for shut speak


def concerns(spec: Spec, motion: Motion) -> tuple[str, ...]:
    """Return what is wrong with a design or may surprise its author; () if it is sound."""
    out = list(spec.warnings)
    if motion.opens_to < np.pi - 1e-6:
        out.append(
            f"it opens to {np.degrees(motion.opens_to):.1f} degrees and no farther: "
            "the base cannot be laid flat with this design in it"
        )
    for side, over in motion.over.items():
        moving = over[motion.phi > np.radians(CLOSED_DEG)]
        if moving.size == 0 or not np.isfinite(moving).any():
            continue
        at = int(np.nanargmax(moving))
        shut = float(np.nan_to_num(over[-1], nan=0.0))  # said by the sums already
        if moving[at] > max(0.0, shut) + WORTH_SAYING_MM:
            deg = np.degrees(motion.phi[at])
            out.append(
                f"half-open, at {deg:.0f} degrees, the {motion.farthest[side]} reaches {moving[at]:.1f} mm "
                f"beyond the {side} fore edge"
            )
    for name, over in (("near", motion.near), ("far", motion.far)):
        if np.isfinite(over).any() and np.nanmax(over) > WORTH_SAYING_MM:
            at = int(np.nanargmax(over))
            out.append(
                f"at {np.degrees(motion.phi[at]):.0f} degrees card reaches {over[at]:.1f} mm "
                f"beyond the {name} end"
            )
    for c in motion.crossings:
        one, other = c.panels
        out.append(
            f"the {one} passes through the {other} from {np.degrees(c.high):.0f} to "
            f"{max(np.degrees(c.low), np.degrees(NEARLY_SHUT)):.0f} degrees: "
            "cut a slot, or set the strips beside each other along the spine"
        )
    return tuple(out)


def praise(spec: Spec) -> str:
    """Return what to say of a design without concerns."""
    pairs = spec.mechanism.pairs
    return "every matched pair agrees, it shuts flat and clear" if pairs else "it shuts flat and clear"


def remarks(spec: Spec, motion: Motion) -> tuple[str, ...]:
    """Return what is worth knowing about a sound design too."""
    out = []
    m = spec.mechanism
    for c in spec.stages:
        for side, legs in c.legs.items():
            if len(legs) > 1:
                out.append(
                    f"the {side} half of the plane stands on {len(legs)} legs where one would hold it: "
                    "they must agree, or the longer ones bow and the shorter ones pull at their glue"
                )
    for half, more in oblique_halves(spec).items():
        lean = np.degrees(motion.pose.lean[half])
        out.append(
            f"the {half} half of the plane is oblique by design (leg, plane spacing {more:+g} mm): it leans "
            f"{lean[0]:+.1f} degrees open and comes down to {abs(round(float(lean[-1]), 1)):.1f} as it shuts"
        )
    if spec.vfold is not None:
        travel = motion.pose.points["ridge"][:, 2]
        travel = travel[np.isfinite(travel)]
        out.append(
            f"as it shuts the plane travels {abs(float(travel[0] - travel[-1])):.1f} mm away from the "
            "camera; an end-on photo shows the slopes of its halves, only a side photo its nod"
        )
        if len(m.halves) == 2 and spec.vfold.legs:
            out.append(
                "laid flat, the angles drawn on the plane hardly hold it: the legs decide whether it is "
                "level, and one leg off tips both halves"
            )
    if spec.pillar is not None:
        tips = motion.pose.points
        span = tips["near tip"][:, 2] - tips["far tip"][:, 2]
        span = span[np.isfinite(span)]
        out.append(
            f"as it shuts the two tips of the pillar part from {float(span[0]):.1f} to "
            f"{float(span[-1]):.1f} mm: glue the plane to the far one and let it lie on the near one, "
            "or it cannot shut"
        )
        lean = np.degrees(motion.pose.lean["right"])
        if np.isfinite(lean).any():
            at = int(np.nanargmax(np.abs(lean)))
            out.append(
                "legs parallel to the spine cannot follow a V-fold all the way: the plane is level open and "
                f"shut and leans {lean[at]:+.1f} degrees at {np.degrees(motion.phi[at]):.0f} degrees"
            )
    if spec.base.depth is None:
        out.append("[base] depth is not given, so nothing is said about head and tail")
    return tuple(out)
