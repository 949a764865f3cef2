"""Where everything stands at one opening, or at many, or for many samples at once."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from capture.arrays import Array


def as_array(x: ArrayLike) -> Array:
    """Return a float array (0-d for a number)."""
    return np.asarray(x, dtype=np.float64)


def heading(turn: Array) -> Array:
    """Return unit vectors (..., 2) of directions counted clockwise from the bisector of the pages, rad."""
    return np.stack((np.sin(turn), np.cos(turn)), axis=-1)


def turn_of(vector: Array) -> Array:
    """Direction (...) of vectors (..., 2), rad clockwise from the bisector of the pages."""
    out: Array = np.arctan2(vector[..., 0], vector[..., 1])
    return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pose:
    """Joints and directions of a mechanism.

    Attributes
    ----------
    phi : opening angle, rad.
    joints : joint name -> (..., 2) as seen end-on, mm, spine at the origin, y up along the bisector;
        nan where the mechanism cannot be assembled.
    turns : panel name -> direction from its first joint, rad clockwise from the bisector.
    angles : panel name -> angle to its own page, rad (0 = flat on the page and pointing outwards, counted
        towards the inside of the spread).
    lean : plane half ("right", "stage 2 left", ...) -> angle of the half to its own page as seen end-on,
        rad; + = outer edge too high.
    stretch : redundant support -> how much longer it would have to be to fit, mm (+ = it pulls at its
        glue, - = it bows); empty for a mechanism that is just held.
    points : joint name -> (..., 3): x, y and z (towards the camera), only for mechanisms that move along
        the spine.
    nod : angle by which the plane nods, rad, + = its near end too high; None where nothing can nod.
    """

    phi: Array
    joints: Mapping[str, Array]
    turns: Mapping[str, Array]
    angles: Mapping[str, Array]
    lean: Mapping[str, Array]
    stretch: Mapping[str, Array] = field(default_factory=dict)
    points: Mapping[str, Array] = field(default_factory=dict)
    nod: Array | None = None
