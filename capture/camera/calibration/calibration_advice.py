"""What would make a calibration better, each with what was measured."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.camera.calibration.calibration_result import Calibration

GOOD_PHOTOS: Final = 8
_CELLS: Final = (4, 3)
_CORNERS: Final = {"top left": (0, 0), "top right": (3, 0), "bottom left": (0, 2), "bottom right": (3, 2)}


@dataclass(frozen=True, slots=True)
class FewPhotos:
    """So many photos were used; so many are good."""

    used: int
    good: int


@dataclass(frozen=True, slots=True)
class TooLittleTilt:
    """The board was tilted by too little left and right, up and down, or both; doubt of the focal length."""

    across: bool
    up: bool
    doubt: float


@dataclass(frozen=True, slots=True)
class NoneTurned:
    """No photo is turned upright against the others."""


@dataclass(frozen=True, slots=True)
class BareCorners:
    """No marks were seen near these corners of the picture."""

    corners: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BentBoard:
    """The board is bowed."""

    bow_mm: float


@dataclass(frozen=True, slots=True)
class Blurred:
    """A photo is blurred."""

    photo: str
    px: float


CalibrationAdvice = FewPhotos | TooLittleTilt | NoneTurned | BareCorners | BentBoard | Blurred


def coverage(calibration: Calibration) -> float:
    """Share of the frame, in 4 x 3 parts, in which at least three marks were seen."""
    return float(np.mean(_counts(calibration) >= 3))


def advice(calibration: Calibration) -> tuple[CalibrationAdvice, ...]:
    """Return what would make it better, the most useful first; nothing if the calibration is good."""
    return tuple(_advice(calibration))


def _counts(calibration: Calibration) -> np.ndarray:
    share = (calibration.marks_px + 0.5) / calibration.camera.size * _CELLS
    col, row = np.clip(share.astype(int), 0, np.array(_CELLS) - 1).T
    return np.bincount(row * _CELLS[0] + col, minlength=_CELLS[0] * _CELLS[1]).reshape(_CELLS[::-1])


def _advice(calibration: Calibration) -> Iterator[CalibrationAdvice]:
    photos = calibration.photos
    doubt = float(np.sqrt(calibration.camera.cov[0, 0]))
    if len(photos) < GOOD_PHOTOS:
        yield FewPhotos(len(photos), GOOD_PHOTOS)
    across, up = np.ptp([p.normal_xy for p in photos], axis=0)
    if across < 0.5 or up < 0.5:
        yield TooLittleTilt(bool(across < 0.5), bool(up < 0.5), doubt)
    rolls = np.radians([p.roll_deg for p in photos])
    if np.abs(np.sin(rolls[:, None] - rolls)).max() < 0.7:
        yield NoneTurned()
    counts = _counts(calibration)
    bare = tuple(name for name, (col, row) in _CORNERS.items() if counts[row, col] < 3)
    if bare:
        yield BareCorners(bare)
    if calibration.bow_mm > 1.0:
        yield BentBoard(calibration.bow_mm)
    for photo in photos:
        if photo.blur_px > 2.0:
            yield Blurred(photo.name, photo.blur_px)
