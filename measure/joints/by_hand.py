"""Joints pointed at by hand in the photo: for what the machine could not find, or found in the wrong place.

A CSV file with the header `joint,x,y` or `joint,x,y,sd`: name of the joint, pixel of the upright photo (0,0
is the middle of the top left pixel), and, if wanted, the hand's own standard uncertainty in pixels.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from capture.csv_file import read_csv
from capture.errors import Option
from measure.joints.added_joints import with_joints
from measure.measure_errors import MeasureError, PointsError
from measure.profile import Profile
from measure.reasons import Note, Noted

HAND_SD_PX = 1.5  # pixels, per direction, pointing at a zoomed picture; common practice, no source
LARGEST_SD_PX = 200.0
HAND = "pointed at by hand"
COLUMNS = ("joint", "x", "y")
MOST_BYTES = 1_000_000
MOST_POINTS = 200  # joints; the largest design has about seventy


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPoint:
    """A joint pointed at: its name, pixel position, standard uncertainty in either direction (px)."""

    joint: str
    x_px: float
    y_px: float
    sd_px: float = HAND_SD_PX


def read_points(path: Path) -> tuple[HandPoint, ...]:
    """Read hand-set joints from a CSV file.

    Raises
    ------
    MeasureError : one line: no such file, no header, not a number, a joint given twice.
    """
    rows = read_csv(path, MeasureError, "the list of points", most_bytes=MOST_BYTES, most_rows=MOST_POINTS)
    head = [cell.lower() for cell in rows[0][1]] if rows else []
    if tuple(head) not in (COLUMNS, (*COLUMNS, "sd")):
        raise MeasureError(
            f'{path.name}: the first line must be "joint,x,y" or "joint,x,y,sd" (pixels), '
            f"got {','.join(head)[:40]!r}"
        )
    points: list[HandPoint] = []
    for i, cells in rows[1:]:
        point = _point(f"{path.name}, line {i}", cells, len(head))
        if any(p.joint == point.joint for p in points):
            raise MeasureError(f"{path.name}, line {i}: {point.joint!r} is there already; give it once")
        points.append(point)
    if not points:
        raise MeasureError(f"{path.name}: no joint under the header; add a line such as spine,2012.5,1480")
    return tuple(points)


def _point(where: str, cells: Sequence[str], n_columns: int) -> HandPoint:
    if not 3 <= len(cells) <= n_columns:
        raise MeasureError(f"{where}: {n_columns} values are wanted (joint and pixels), got {len(cells)}")
    numbers: list[float] = []
    for cell in cells[1:]:
        if cell == "" and len(numbers) == 2:
            continue
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise MeasureError(f"{where}: a number of pixels is wanted, got {cell[:40]!r}")
        numbers.append(value)
    sd = numbers[2] if len(numbers) > 2 else HAND_SD_PX
    if not 0.05 <= sd <= LARGEST_SD_PX:
        raise MeasureError(f"{where}: sd of 0.05 to {LARGEST_SD_PX:g} pixels is wanted, got {sd:g}")
    return HandPoint(joint=cells[0], x_px=numbers[0], y_px=numbers[1], sd_px=sd)


def require_sound(points: Sequence[HandPoint], joints: Sequence[str], size: tuple[int, int]) -> None:
    """Refuse points of unknown joints and points outside the photo.

    Parameters
    ----------
    joints : names that are allowed.
    size : (width, height) of the photo, px.

    Raises
    ------
    PointsError : one line.
    """
    for p in points:
        if p.joint not in joints:
            raise PointsError(Option.POINTS, f": unknown joint {p.joint!r}; known here: {', '.join(joints)}")
        if not (-0.5 <= p.x_px <= size[0] - 0.5 and -0.5 <= p.y_px <= size[1] - 0.5):
            raise PointsError(
                Option.POINTS,
                f": {p.joint!r} at ({p.x_px:g}, {p.y_px:g}) lies outside the photo "
                f"({size[0]} x {size[1]} pixels); pixels count from the top left of the upright photo",
            )


def places_mm(points: Sequence[HandPoint], view: View, z_mm: float) -> dict[str, Array]:
    """Places (2,) in the measuring plane, sheet coordinates, of hand-set joints."""
    if not points:
        return {}
    xy = view.to_plane(np.array([[p.x_px, p.y_px] for p in points]), z_mm)
    return {p.joint: at for p, at in zip(points, xy, strict=True)}


def with_hand_points(
    profile: Profile,
    points: Sequence[HandPoint],
    view: View,
    *,
    near_end_sd_mm: float,
    standoff_err_mm: float,
) -> Profile:
    """Return the profile with hand-set joints in place of measured ones, or added to them.

    What the photo's view, print scale and standoff leave uncertain is shared with all other joints; the
    uncertainty of edge fits and layers gives way to the hand's; that of a near end not flush stays.

    Parameters
    ----------
    profile : as measured.
    points : already checked by `require_sound`.
    near_end_sd_mm, standoff_err_mm : as in the measurement.
    """
    if not points:
        return profile
    at = places_mm(points, view, profile.standoff_mm)
    eye = view.eye_mm()
    ends: dict[str, Array] = {}
    hand: dict[str, Array] = {}
    for p in points:
        back = (at[p.joint] - eye[:2]) / (eye[2] - profile.standoff_mm)
        ends[p.joint] = np.outer(back, back) * near_end_sd_mm**2
        mm_per_px = _mm_per_px(view, p, profile.standoff_mm)
        hand[p.joint] = mm_per_px @ mm_per_px.T * p.sd_px**2
    out = with_joints(profile, at, {"near ends": ends, HAND: hand}, view, standoff_err_mm)
    return replace(
        out,
        by_hand=MappingProxyType({p.joint: p.sd_px for p in points}),
        notes=(*profile.notes, *_disagreements(profile, at, hand)),
    )


def _mm_per_px(view: View, point: HandPoint, z_mm: float) -> Array:
    """Change (2, 2) of the place in the plane per pixel across and down."""
    around = np.array([[point.x_px, point.y_px]]) + np.array([[0, 0], [1, 0], [0, 1]])
    at = view.to_plane(around, z_mm)
    out: Array = np.column_stack([at[1] - at[0], at[2] - at[0]])
    return out


def _disagreements(profile: Profile, at: Mapping[str, Array], hand: Mapping[str, Array]) -> list[Note]:
    """Note the joints that hand and machine see in clearly different places."""
    out: list[Note] = []
    for joint in at:
        if joint not in profile.joints:
            continue
        k = profile.joints.index(joint)
        off = at[joint] - profile.xy_mm[k]
        own = [profile.cov_by_source[s] for s in ("edge fits", "card layers") if s in profile.cov_by_source]
        cov = hand[joint] + sum(c[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for c in own)
        # Beyond 3 standard deviations in two dimensions: 1.1 % by chance.
        if float(off @ np.linalg.solve(cov, off)) > 9.0:
            out.append(Note(kind=Noted.HAND_DIFFERS, names=(joint,), mm=float(np.hypot(*off))))
    return out
