"""Where the joints of a dummy lie when every length of it is known: the closed form, numpy only.

Dummy frame: mm, spine at the origin, x to the right page, y up along the bisector of the pages. A point
of the linkage is a fold in the middle surface of its strip, so each page is represented by the line that
runs half a card thickness above it.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SIDES = ("left", "right")

LENGTHS = {
    "feet": ("inner foot left", "inner foot right"),
    **{
        name.format(s): (a.format(s), b.format(s))
        for s in SIDES
        for name, a, b in (
            ("page {}", "spine", "fore edge {}"),
            ("foot {}", "spine", "inner foot {}"),
            ("fold {}", "inner foot {}", "ridge"),
            ("page spacing {}", "inner foot {}", "outer foot {}"),
            ("plane spacing {}", "ridge", "leg top {}"),
            ("leg {}", "outer foot {}", "leg top {}"),
            ("plane {}", "ridge", "plane edge {}"),
        )
    },
}
"""Length name -> the two joints between which it is measured."""


def meet(p: Array, r_p: float, q: Array, r_q: float, near: Array) -> Array:
    """Return the point at distance r_p from p and r_q from q; of the two, the one nearer to `near`.

    Raises
    ------
    ValueError : the two circles do not meet.
    """
    d = q - p
    dist = math.hypot(*d)
    along = (dist * dist + r_p * r_p - r_q * r_q) / (2 * dist)
    rise2 = r_p * r_p - along * along
    if rise2 < 0:
        raise ValueError(f"lengths {r_p:.2f} and {r_q:.2f} mm cannot meet across {dist:.2f} mm")
    foot = p + d * (along / dist)
    normal = np.array([-d[1], d[0]]) / dist * math.sqrt(rise2)
    a, b = foot + normal, foot - normal
    return a if math.hypot(*(a - near)) <= math.hypot(*(b - near)) else b


def page_direction(side: str, opening_deg: float) -> Array:
    """Return the unit vector (2,) from the spine along a page."""
    h = math.radians(opening_deg) / 2
    return np.array([math.sin(h) if side == "right" else -math.sin(h), math.cos(h)])


def solve(lengths: Mapping[str, float], opening_deg: float) -> dict[str, Array]:
    """Joint name -> position (2,) in the dummy frame, mm, open branch of every loop.

    Parameters
    ----------
    lengths : the names of `LENGTHS` (without "feet"), mm. A side without "leg ..." has no parallelogram;
        its plane half, if it has one, then lies parallel to its page.
    opening_deg : angle between the pages, 180 is flat.
    """
    joints = {"spine": np.zeros(2)}
    for side in SIDES:
        u = page_direction(side, opening_deg)
        joints[f"fore edge {side}"] = lengths[f"page {side}"] * u
        joints[f"inner foot {side}"] = lengths[f"foot {side}"] * u
    high = np.array([0.0, 1e6])
    joints["ridge"] = meet(
        joints["inner foot left"],
        lengths["fold left"],
        joints["inner foot right"],
        lengths["fold right"],
        high,
    )
    for side in SIDES:
        u = page_direction(side, opening_deg)
        along = u
        if f"leg {side}" in lengths:
            foot = joints[f"inner foot {side}"] + lengths[f"page spacing {side}"] * u
            spacing = lengths[f"plane spacing {side}"]
            expected = joints["ridge"] + spacing * u
            top = meet(joints["ridge"], spacing, foot, lengths[f"leg {side}"], expected)
            joints[f"outer foot {side}"], joints[f"leg top {side}"] = foot, top
            along = (top - joints["ridge"]) / spacing
        if f"plane {side}" in lengths:
            joints[f"plane edge {side}"] = joints["ridge"] + lengths[f"plane {side}"] * along
    return joints
