"""Options for random photos: framing, marks, near ends, artwork; several photos of one dummy."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.sheet.marker_sheet import sheet_for_paper
from sample_images.rendering.cards import own_linkage as linkage
from sample_images.rendering.scene.hung import put_on
from sample_images.rendering.scene.staging import Shot, stage

WIDEST = 0.88
"""Largest share of the frame that a sheet may take."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is asked of a random photo beyond its class; None leaves it to chance.

    Attributes
    ----------
    pen : felt-pen line along the base. flush : near ends even to 0.0-0.1 mm.
    uneven_mm : standard deviation of the near ends. artwork : printed pattern on strips and plane.
    px_per_mm : (least, most) image scale in the sheet's plane. table : see `surroundings.table_texture`.
    apron : the printed strip hangs from the near edge of the base.
    hidden : something stands in front of part of the sheet.
    """

    pen: bool | None = None
    flush: bool = False
    uneven_mm: float | None = None
    artwork: bool = False
    px_per_mm: tuple[float, float] | None = None
    table: str | None = None
    apron: bool = False
    hidden: bool = False


def granted(shot: Shot, wish: Wish, *, room: bool = False) -> Shot:
    """Return the shot with what was wished for; `room` keeps a wider rim, for cameras further aside."""
    rng = np.random.default_rng([shot.seed, 21])
    build = shot.build
    spread = shot.stated_spread_mm
    if wish.pen is not None:
        build = replace(build, pen_line=wish.pen)
    if wish.flush:
        build = replace(build, near_sd_mm=float(rng.uniform(0.0, 0.1)), skew_sd_deg=0.03, wobble_mm=0.02)
        spread = 0.1
    if wish.uneven_mm is not None:
        build, spread = replace(build, near_sd_mm=wish.uneven_mm), wish.uneven_mm
    shot = replace(shot, build=build, stated_spread_mm=spread, artwork=wish.artwork, hidden=wish.hidden)
    if wish.apron:
        shot = replace(shot, apron=put_on(rng))
    if wish.table is not None:
        shot = replace(shot, table=wish.table)
    if wish.px_per_mm is not None:
        wide = sheet_for_paper(shot.paper).paper_mm[0]
        least, most = wish.px_per_mm
        most = min(most, (WIDEST - 0.08 * room) * shot.size[0] / wide)
        scale = rng.uniform(min(least, most), most)
        shot = replace(shot, fill=scale * wide / shot.size[0], look=(0.4 * shot.look[0], 0.4 * shot.look[1]))
    return shot


def views(shot: Shot, count: int) -> list[Shot]:
    """Return photos -a, -b, -c ... of the same dummy, which stays where it is while the camera moves.

    The second is taken from one side, the third from the other, the fourth from above and so on, by 10-25 %
    of the distance.
    """
    rng = np.random.default_rng([shot.seed, 22])
    first = replace(shot, yaw_deg=0.6 * shot.yaw_deg, elevation_deg=min(shot.elevation_deg, 9.0))
    side = rng.choice([-1.0, 1.0])
    out = []
    for i in range(count):
        aside, up = [(0, 0), (side, 0.0), (-side, 0.4), (0, 1), (side, 1)][i % 5]
        by = math.degrees(math.atan(rng.uniform(0.12, 0.25)))
        moved = replace(
            first,
            name=f"{shot.name}-{'abcdefghij'[i]}",
            frame=i,
            yaw_deg=first.yaw_deg + aside * by,
            elevation_deg=first.elevation_deg + up * by,
            tilt_deg=first.tilt_deg + 0.5 * rng.normal() * (i > 0),
        )
        out.append(_inside(moved))
    return out


def openings(shot: Shot, angles_deg: Sequence[float]) -> list[Shot]:
    """Return photos of the same dummy at several opening angles; all its lengths are common.

    The spec states the first angle. A base that is not flat is propped, within a degree of the angle asked.
    """
    rng = np.random.default_rng([shot.seed, 23])
    out = []
    for i, angle in enumerate(angles_deg):
        true = angle if angle == 180 else angle + 0.8 * rng.normal()
        moved = replace(
            shot, name=f"{shot.name}-{angle:g}", frame=i, opening_deg=true, nominal_opening=angles_deg[0]
        )
        out.append(_inside(moved))
    return out


def _inside(shot: Shot) -> Shot:
    """Step back until every joint and the sheet above the table are in the picture."""
    for _ in range(40):
        at = stage(shot)
        w, h = np.array(at.sheet.paper_mm) / 2
        corners = [[x, y, 0.0] for x in (-w, w) for y in (-0.8 * h, h)]
        near = [[*xy, at.standoff] for xy in at.joints.values()]
        px = at.camera.view().project(np.array(corners + near))
        if (px > 20).all() and (px < np.array(shot.size) - 20).all():
            return shot
        shot = replace(shot, fill=0.98 * shot.fill)
    raise ValueError(f"{shot.name}: does not fit into the picture")


def feasible(shot: Shot, angles_deg: Sequence[float]) -> bool:
    """Whether the true lengths close at all these opening angles."""
    try:
        for angle in angles_deg:
            linkage.solve(shot.lengths, angle)
    except ValueError:
        return False
    return True


def artwork(rng: np.random.Generator) -> NDArray[np.float32]:
    """Make a printed pattern: factors of reflectance (2048, 2048, 3), 100 mm square, about half of it ink.

    Rows run along the spine: a line across the picture lies parallel to the near end, like an edge.
    """
    n = 2048
    inks = [tuple(map(int, rng.integers(25, 230, 3))) for _ in range(5)]
    art = np.full((n, n, 3), rng.integers(190, 255, 3), np.uint8)
    for _ in range(int(rng.integers(4, 9))):  # bands parallel to the near end or to the folds
        at, wide = int(rng.integers(0, n)), int(rng.integers(10, 160))
        ink = inks[rng.integers(5)]
        if rng.uniform() < 0.5:
            cv2.rectangle(art, (0, at), (n, at + wide), ink, -1)
        else:
            cv2.rectangle(art, (at, 0), (at + wide, n), ink, -1)
    for _ in range(int(rng.integers(60, 140))):
        x, y = (int(c) for c in rng.integers(0, n, 2))
        ink = inks[rng.integers(5)]
        size = int(rng.integers(12, 110))
        kind = rng.integers(4)
        if kind == 0:
            cv2.circle(art, (x, y), size, ink, -1, cv2.LINE_AA)
        elif kind == 1:
            cv2.circle(art, (x, y), size, ink, max(3, size // 5), cv2.LINE_AA)
        elif kind == 2:
            end = (x + int(rng.normal() * 3 * size), y + int(rng.normal() * 3 * size))
            cv2.line(art, (x, y), end, ink, max(4, size // 6), cv2.LINE_AA)
        else:
            word = "".join(rng.choice(list("LAMPQUAYORINES"), 5))
            cv2.putText(art, word, (x, y), cv2.FONT_HERSHEY_SIMPLEX, size / 40, ink, max(2, size // 14))
    return np.asarray(art / np.float32(255), np.float32)
