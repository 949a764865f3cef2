"""Calibrating a camera from several photos of one board or sheet, in the same adjustment as a single photo.

All photos share the lens, the print's scale and the board's bow; each has its own pose. What the print got
wrong is the same in every photo, so its part of the covariance does not fall with their number: it is
estimated from what the residuals of each mark have in common and carried through.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.calibrated_camera import LENS, CameraError
from capture.camera.calibration.board_photos import BoardPhoto, board_photo, of_one_kind
from capture.camera.calibration.calibration_result import Calibration, calibration_of
from capture.camera.lens_model import (
    N_ALL,
    N_VIEW,
    Problem,
    residuals,
)
from capture.camera.solver import adjust_without_outliers, first_guess
from capture.camera.view_problem import bow_shapes, mark_sigma
from capture.errors import FoldgaugeError
from capture.lens_hint import USUAL_F35
from capture.photo import read_photo
from capture.sheet.print_scale import UNMEASURED_SD


@dataclass(frozen=True, slots=True)
class CalibrationNumbers:
    """What is believed before the boards are looked at, and which photo is left out.

    Common practice, no source.

    Attributes
    ----------
    fewest_photos : fewer are refused.
    f_sd : doubt of log f where EXIF tells it: wide, so that the photos decide. unknown_f_sd : where not.
    lens_sd : priors of k1, k2, cx, cy (shares of the longer side), k3, p1, p2: wider than any phone's lens.
    bow_sd_mm : of each bow of the board.
    bad_photo, bad_px : a photo whose residual is so many times the usual one, and so large, is left out.
    most_lost : share of its marks that may disagree.
    blurred_px : from which on its blur is named as a reason.
    """

    fewest_photos: int = 3
    f_sd: float = 0.1
    unknown_f_sd: float = 0.6
    lens_sd: tuple[float, ...] = (0.5, 1.0, 0.02, 0.02, 1.0, 0.01, 0.01)
    bow_sd_mm: float = 0.3
    bad_photo: float = 3.0
    bad_px: float = 0.1
    most_lost: float = 0.3
    blurred_px: float = 2.0


NUMBERS: Final = CalibrationNumbers()


def calibrate(paths: Sequence[Path], name: str) -> Calibration:
    """Calibrate from photo files; the camera is called `name`.

    Raises
    ------
    CameraError
        Too few photos can be used; why is told for the first that cannot.
    """
    taken: list[BoardPhoto] = []
    left_out: list[tuple[str, str]] = []
    for path in paths:
        try:
            taken.append(board_photo(read_photo(path)))
        except FoldgaugeError as err:
            left_out.append((path.name, str(err).removeprefix(f"{path.name}: ")))
    kept = of_one_kind(taken, left_out)
    return calibrate_photos(kept, name, left_out)


def calibrate_photos(
    taken: Sequence[BoardPhoto], name: str, left_out: Sequence[tuple[str, str]] = ()
) -> Calibration:
    """Calibrate from photos of one kind; those that disagree with the rest are left out and named.

    Raises
    ------
    CameraError
        Fewer than `NUMBERS.fewest_photos` remain.
    """
    out = list(left_out)
    photos = list(taken)
    while True:
        _require_enough(photos, out)
        problem = _problem(photos)
        try:
            start = first_guess(problem, [p.sighting.H_img_sheet for p in photos])
            params, keep = adjust_without_outliers(problem, start)
        except np.linalg.LinAlgError:
            raise CameraError(
                "the photos do not fix the lens: tilt the board, left, right, up and down, by 25 degrees"
            ) from None
        bad = _worst(problem, params, keep, photos)
        if bad is None:
            return calibration_of(photos, problem, params, keep, name, tuple(out))
        k, why = bad
        out.append((photos.pop(k).name, why))


def _require_enough(photos: Sequence[BoardPhoto], left_out: Sequence[tuple[str, str]]) -> None:
    if len(photos) < NUMBERS.fewest_photos:
        why = f" ({left_out[0][0]}: {left_out[0][1]})" if left_out else ""
        raise CameraError(
            f"only {len(photos)} photos of the board can be used, {NUMBERS.fewest_photos} are needed, "
            f"8 to 15 are good{why}"
        )


def _problem(photos: Sequence[BoardPhoto]) -> Problem:
    width, height = photos[0].photo_size
    n = N_ALL + 6 * (len(photos) - 1)
    prior, sd = np.zeros(n), np.full(n, np.inf)
    focal = next((p.focal_px for p in photos if p.focal_px is not None), None)
    prior[6] = np.log(focal if focal is not None else USUAL_F35 * np.hypot(width, height) / np.hypot(36, 24))
    sd[LENS] = [NUMBERS.unknown_f_sd if focal is None else NUMBERS.f_sd, *NUMBERS.lens_sd]
    prior[9:11] = (width - 1) / 2, (height - 1) / 2
    sd[9:11] *= max(width, height)
    sd[11:13] = UNMEASURED_SD
    sd[N_VIEW:N_ALL] = NUMBERS.bow_sd_mm
    seen = [p.sighting for p in photos]
    return Problem(
        xy_mm=np.concatenate([s.xy_mm for s in seen]),
        px=np.concatenate([s.px for s in seen]),
        sigma=np.concatenate([mark_sigma(s.sigma_px, s.H_img_sheet) for s in seen]),
        shapes=np.concatenate([bow_shapes(s.sheet, s.xy_mm) for s in seen]),
        pose=np.repeat(np.arange(len(seen)), [len(s.px) for s in seen]),
        n_poses=len(seen),
        prior=prior,
        precision=np.diag(1 / sd**2),
        held=np.zeros(n, dtype=bool),
    )


def _worst(
    problem: Problem, params: Array, keep: NDArray[np.bool_], photos: Sequence[BoardPhoto]
) -> tuple[int, str] | None:
    """Photo that disagrees most with the others, and why; None if none does."""
    off = residuals(params, problem)[0].reshape(-1, 2)
    rms = np.array([np.sqrt(np.mean(off[problem.pose == k] ** 2)) for k in range(len(photos))])
    lost = np.array([np.mean(~keep[problem.pose == k]) for k in range(len(photos))])
    typical = float(np.median(rms))
    strange = (rms > max(NUMBERS.bad_photo * typical, NUMBERS.bad_px)) | (lost > NUMBERS.most_lost)
    if not strange.any():
        return None
    k = int(np.argmax(np.where(strange, rms, 0)))
    why = f"its marks are off by {rms[k]:.2f} px where the others are by {typical:.2f}"
    if photos[k].sighting.blur_px > NUMBERS.blurred_px:
        why += f"; it is blurred ({photos[k].sighting.blur_px:.1f} px)"
    return k, f"{why}: the board was bent or moved, or the zoom changed"
