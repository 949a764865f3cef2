"""How a spread lies on the table and how the sheet stands by it: turned, leaning, on the page, pages raised.

Three frames, all in mm: the dummy's (spine along z, near ends about z = 0), the table's (y up, its top at
y = 0, near ends about z = 0) and the sheet's (`capture.sheet.marker_sheet`). Numpy only.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.rendering.cards.card_dummy import Build, Part
from sample_images.rendering.cards.meshes import box
from sample_images.rendering.cards.own_linkage import page_direction

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How sheet and spread stand to each other.

    Attributes
    ----------
    turn_deg : the sheet turned about the vertical against the near ends' plane. lean_deg : leaning back.
    tip_deg : the spread turned in the sheet's plane, + = right page raised; (180 - opening) / 2 lays the
        left page flat on the table.
    on_page : the sheet stands on the page, not on the table.
    """

    turn_deg: float = 0.0
    lean_deg: float = 0.0
    tip_deg: float = 0.0
    on_page: bool = False


def about_z(angle_deg: float) -> Array:
    """Rotation (3, 3) counter-clockwise as seen by the camera."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def about_y(angle_deg: float) -> Array:
    """Rotation (3, 3) about the vertical."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def about_x(angle_deg: float) -> Array:
    """Rotation (3, 3) about the axis to the right."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def spine_height(opening_deg: float, tip_deg: float, build: Build) -> float:
    """Height of the spine joint over the table when the spread's lowest edge touches it."""
    middle = (build.card_mm + build.base_mm) / 2
    high = middle / math.sin(math.radians(opening_deg) / 2) * math.cos(math.radians(tip_deg))
    high += build.base_mm / 2  # the board is rounded with half its thickness where it is folded
    return high if opening_deg == 180 else high + 0.02


def page_rise(opening_deg: float, tip_deg: float, side: str) -> float:
    """Angle by which a page rises from the table toward its fore edge, degrees."""
    return (180 - opening_deg) / 2 + (tip_deg if side == "right" else -tip_deg)


def page_top(x: float, opening_deg: float, tip_deg: float, build: Build) -> float:
    """Height over the table of the page's upper surface at `x` beside the spine."""
    side = "right" if x >= 0 else "left"
    rise = math.radians(page_rise(opening_deg, tip_deg, side))
    spine = spine_height(opening_deg, tip_deg, build)
    return spine + abs(x) * math.tan(rise) - build.card_mm / 2 / math.cos(rise)


def supports(opening_deg: float, tip_deg: float, pages_mm: dict[str, float], build: Build) -> list[Part]:
    """Blocks on the table that hold the raised pages, in the dummy frame."""
    under = build.card_mm / 2 + build.base_mm + 0.03
    turn = about_z(tip_deg)
    high = spine_height(opening_deg, tip_deg, build)
    out = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        if page_rise(opening_deg, tip_deg, side) < 1.5:
            continue
        u = (turn @ np.array([*page_direction(side, opening_deg), 0.0]))[:2]
        n = sign * np.array([-u[1], u[0]])
        touch = np.array([0.0, high]) + 0.72 * pages_mm[side] * u - under * n
        xs = sorted((touch[0], touch[0] + sign * 24.0))
        block = box(
            np.array([xs[0], 0.0, -build.behind_mm + 4.0]),
            np.array([xs[1], touch[1], min(build.setback_mm, 30.0) - 4.0]),
        )
        out.append(Part(block.moved(turn.T, turn.T @ np.array([0.0, -high, 0.0])), "prop"))
    return out
