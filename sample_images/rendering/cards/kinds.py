"""Kinds of mechanism the renderer can build: how joints follow from lengths, and of what cards it is made."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.rendering.cards import card_dummy as dummy
from sample_images.rendering.cards import own_linkage as linkage
from sample_images.rendering.cards.card_dummy import Build, Part

Array = NDArray[np.float64]
Joints = Mapping[str, Array]
HIDDEN = "~"
"""A joint whose name starts so is a point of construction and no joint to be measured."""


def _no_bows(joints: Joints, lengths: Mapping[str, float]) -> dict[str, float]:
    return {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One mechanism.

    Attributes
    ----------
    solve : (lengths, opening in degrees) -> joint -> (2,) in the near plane, dummy frame, mm.
    ends : length name -> its two joints. panels : panel name -> its first and last joint.
    halves : half of a plane -> (its panel, the panel it should be parallel to, +1 right or -1 left).
    assemble : (joints, opening, build, rng) -> solids, depth of the near ends by panel.
    bows : (joints, lengths) -> panel -> sagitta, mm, of cards that are too long for their place.
    """

    solve: Callable[[Mapping[str, float], float], dict[str, Array]]
    ends: Mapping[str, tuple[str, str]]
    panels: Mapping[str, tuple[str, str]]
    halves: Mapping[str, tuple[str, str, float]]
    assemble: Callable[[Joints, float, Build, np.random.Generator], tuple[list[Part], dict[str, float]]]
    bows: Callable[[Joints, Mapping[str, float]], dict[str, float]] = _no_bows

    def lengths_of(self, joints: Joints) -> dict[str, float]:
        """Every length whose two joints exist, mm."""
        return {
            name: float(math.hypot(*(np.asarray(joints[b]) - np.asarray(joints[a]))))
            for name, (a, b) in self.ends.items()
            if a in joints and b in joints
        }

    def angles_of(self, joints: Joints) -> dict[str, float]:
        """Panel -> direction from its first to its last joint, degrees counter-clockwise from x."""
        out = {}
        for name, (a, b) in self.panels.items():
            if a in joints and b in joints:
                d = np.asarray(joints[b]) - np.asarray(joints[a])
                out[name] = math.degrees(math.atan2(d[1], d[0]))
        return out

    def leans_of(self, joints: Joints) -> dict[str, float]:
        """Half of a plane -> lean against what it should be parallel to, degrees, + = outer edge too high."""
        angles = self.angles_of(joints)
        out = {}
        for half, (panel, page, sign) in self.halves.items():
            if panel in angles:
                turn = sign * (angles[panel] - angles[page])
                out[half] = (turn + 180.0) % 360.0 - 180.0
        return out


def page_ends() -> dict[str, tuple[str, str]]:
    """Lengths of the two pages."""
    return {f"page {s}": ("spine", f"fore edge {s}") for s in linkage.SIDES}


def halves(stage: str = "") -> dict[str, tuple[str, str, float]]:
    """Both halves of the plane of a stage, parallel to the pages if all is right."""
    sign = {"left": -1.0, "right": 1.0}
    return {f"{stage}{s}": (f"{stage}plane {s}", f"page {s}", sign[s]) for s in linkage.SIDES}


def panels_of(ends: Mapping[str, tuple[str, str]], *stems: str) -> dict[str, tuple[str, str]]:
    """Those lengths that are panels end to end: their names start with one of `stems` and a side follows."""
    return {k: v for k, v in ends.items() if any(k in (f"{stem} left", f"{stem} right") for stem in stems)}


FOLD = Kind(
    solve=linkage.solve,
    ends=linkage.LENGTHS,
    panels=panels_of(linkage.LENGTHS, "page", "fold", "leg", "plane"),
    halves=halves(),
    assemble=dummy.assemble,
)
"""Parallel fold with a parallelogram on each side or on one: `linkage` and `dummy`."""
