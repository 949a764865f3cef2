"""What is to be looked at in a design before anything is cut, and what is worth knowing, as facts."""

from typing import Final

import numpy as np

from compare.design.design_facts import (
    DepthUnknown,
    Fact,
    ObliqueByDesign,
    OpensTo,
    PassesThrough,
    SticksOutAtEnd,
    SticksOutMoving,
)
from compare.design.spec.spec import Spec
from compare.design.study.motion import NEARLY_SHUT, Motion
from compare.design.study.soundness import warnings_of

WORTH_SAYING_MM: Final = 0.05
SAME_CONTACT: Final = np.radians(3.0)  # panels that cross so shortly before it jams
CLOSED_DEG: Final = 3.0  # below this the spread is as good as shut, and the sums for shut speak


def concerns(spec: Spec, motion: Motion) -> tuple[Fact, ...]:
    """Return what is wrong with a design or may surprise its author; () if it is sound."""
    out = list(warnings_of(spec))
    if motion.opens_to < np.pi - 1e-6:
        out.append(OpensTo(opening_deg=float(np.degrees(motion.opens_to))))
    for side, over in motion.over.items():
        moving = over[motion.phi > np.radians(CLOSED_DEG)]
        if moving.size == 0 or not np.isfinite(moving).any():
            continue
        at = int(np.nanargmax(moving))
        shut = float(np.nan_to_num(over[-1], nan=0.0))  # said by the sums already
        if moving[at] > max(0.0, shut) + WORTH_SAYING_MM:
            deg = float(np.degrees(motion.phi[at]))
            joint, mm = motion.farthest[side], float(moving[at])
            out.append(SticksOutMoving(side=side, joint=joint, opening_deg=deg, over_mm=mm))
    for end, over in (("near", motion.near), ("far", motion.far)):
        if np.isfinite(over).any() and np.nanmax(over) > WORTH_SAYING_MM:
            at = int(np.nanargmax(over))
            deg = float(np.degrees(motion.phi[at]))
            out.append(SticksOutAtEnd(end=end, opening_deg=deg, over_mm=float(over[at])))
    for c in motion.crossings:
        if 0 < motion.shut_at and c.high < motion.shut_at + SAME_CONTACT:
            continue  # how it jams, which is said already
        high, low = float(np.degrees(c.high)), float(max(np.degrees(c.low), np.degrees(NEARLY_SHUT)))
        out.append(PassesThrough(one=c.panels[0], other=c.panels[1], from_deg=high, to_deg=low))
    return tuple(out)


def remarks(spec: Spec, motion: Motion) -> tuple[Fact, ...]:
    """Return what is worth knowing about a sound design too."""
    out = list(spec.building.remarks(spec, motion.phi, motion.pose))
    for half, more in spec.building.oblique_halves().items():
        lean = np.degrees(motion.pose.lean[half])
        followed = np.flatnonzero(np.isfinite(lean) & (motion.phi >= motion.shut_at))
        last = int(followed[-1])
        out.append(
            ObliqueByDesign(
                half=half,
                more_mm=more,
                open_deg=float(lean[followed[0]]),
                shut_deg=float(lean[last]),
                shut_at_deg=float(np.degrees(motion.phi[last])),
            )
        )
    if spec.base.depth is None:
        out.append(DepthUnknown())
    return tuple(out)
