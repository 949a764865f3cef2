"""What would make a calibration better, each with what was measured."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from capture.camera.calibrate import Calibration

GOOD_PHOTOS: Final = 8
_CELLS: Final = (4, 3)
_CORNERS: Final = {"top left": (0, 0), "top right": (3, 0), "bottom left": (0, 2), "bottom right": (3, 2)}


def coverage(calibration: Calibration) -> float:
    """Share of the frame, in 4 x 3 parts, in which at least three marks were seen."""
    return float(np.mean(_counts(calibration) >= 3))


def advice(calibration: Calibration) -> tuple[str, ...]:
    """Plain sentences, the most useful first; none if the calibration is good."""
    return tuple(_advice(calibration))


def _counts(calibration: Calibration) -> np.ndarray:
    share = (calibration.marks_px + 0.5) / calibration.camera.size * _CELLS
    col, row = np.clip(share.astype(int), 0, np.array(_CELLS) - 1).T
    return np.bincount(row * _CELLS[0] + col, minlength=_CELLS[0] * _CELLS[1]).reshape(_CELLS[::-1])


def _advice(calibration: Calibration) -> Iterator[str]:
    photos = calibration.photos
    doubt = float(np.sqrt(calibration.camera.cov[0, 0]))
    if len(photos) < GOOD_PHOTOS:
        yield f"{len(photos)} photos were used; take {GOOD_PHOTOS} to 15"
    across, up = np.ptp([p.normal_xy for p in photos], axis=0)
    if across < 0.5 or up < 0.5:
        ways = [way for way, short in (("left and right", across < 0.5), ("up and down", up < 0.5)) if short]
        yield (
            f"the board was tilted by too little {' nor '.join(ways)} (focal length {100 * doubt:.2f} % "
            "doubtful): in some photos tilt it by 25 to 35 degrees each way"
        )
    rolls = np.radians([p.roll_deg for p in photos])
    if np.abs(np.sin(rolls[:, None] - rolls)).max() < 0.7:
        yield "no photo is turned upright against the others: turn the camera by 90 degrees for two or three"
    counts = _counts(calibration)
    bare = [name for name, (col, row) in _CORNERS.items() if counts[row, col] < 3]
    if bare:
        yield f"no marks near the picture's {', '.join(bare)}: bring the board into the corners, too"
    if calibration.bow_mm > 1.0:
        yield f"the board is bowed by about {calibration.bow_mm:.1f} mm: glue it on a flat, stiff board"
    for photo in photos:
        if photo.blur_px > 2.0:
            yield f"{photo.name} is blurred ({photo.blur_px:.1f} px): more light, hold still"
