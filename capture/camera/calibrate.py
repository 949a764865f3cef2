"""Calibrating a camera from several photos of one board or sheet, in the same adjustment as a single photo.

All photos share the lens, the print's scale and the board's bow; each has its own pose. What the print got
wrong is the same in every photo, so its part of the covariance does not fall with their number: it is
estimated from what the residuals of each mark have in common and carried through.
"""

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.adjust import bow_shapes, mark_sigma
from capture.camera.calibrated_camera import LENS, Camera, CameraError, stored_size, to_stored
from capture.camera.lens_model import (
    N_ALL,
    N_VIEW,
    Problem,
    by_place,
    covariance,
    normal_matrix,
    pose_at,
    residuals,
)
from capture.camera.solver import adjust_without_outliers, first_guess
from capture.errors import FoldgaugeError
from capture.photo import Photo, read_photo
from capture.sheet.print_scale import UNMEASURED_SD
from capture.sight.sighting import Sighting, find_target
from capture.sight.tags import homography

FEWEST_PHOTOS: Final = 3
_F_SD: Final = 0.1
"""Doubt of log f before the board is looked at, where EXIF tells it: wide, so that the photos decide."""

_UNKNOWN_F_SD: Final = 0.6
_LENS_SD: Final = (0.5, 1.0, 0.02, 0.02, 1.0, 0.01, 0.01)
"""Priors of k1, k2, cx, cy (shares of the longer side), k3, p1, p2: wider than any phone's lens."""

_BOW_SD_MM: Final = 0.3
_BAD_PHOTO: Final = 3.0
_BAD_PX: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BoardPhoto:
    """One photo of the board, in pixels of the stored picture.

    Attributes
    ----------
    name : of the file. photo_size : (width, height) stored. model, focal_35_mm, focal_mm : by EXIF.
    sighting : with `px` and the homography in stored pixels.
    """

    name: str
    photo_size: tuple[int, int]
    model: str
    focal_35_mm: float | None
    focal_mm: float | None
    focal_px: float | None
    sighting: Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFit:
    """How one photo took part.

    Attributes
    ----------
    name : of the file. n_marks : marks used. rms_px : their residual per axis.
    tilt_deg : the board out of square to the line of sight. normal_xy : where the board's normal points, in
        the camera's x and y (sines). roll_deg : the board's turn in the picture. blur_px : of the marks.
    """

    name: str
    n_marks: int
    rms_px: float
    tilt_deg: float
    normal_xy: tuple[float, float]
    roll_deg: float
    blur_px: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Calibration:
    """A camera, and how it came about.

    Attributes
    ----------
    camera : the result. photos : those used. left_out : (name, why) of the others.
    marks_px : (M, 2) all marks used, stored pixels (coverage of the frame).
    bow_mm : bow of the board. print_sd_mm : what the print got wrong, per mark.
    """

    camera: Camera
    photos: tuple[PhotoFit, ...]
    left_out: tuple[tuple[str, str], ...]
    marks_px: Array
    bow_mm: float
    print_sd_mm: float


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
    kept = _of_one_kind(taken, left_out)
    return calibrate_photos(kept, name, left_out)


def board_photo(photo: Photo) -> BoardPhoto:
    """Find the board in a photo and put it in stored pixels.

    Raises
    ------
    FoldgaugeError
        There is no board that can be used, or the photo is mirrored.
    """
    if photo.exif.orientation not in (1, 3, 6, 8):
        raise CameraError(f"{photo.name}: the photo is mirrored; switch off the camera's mirror setting")
    seen = find_target(photo)
    px = to_stored(seen.px, photo.size, photo.exif)
    h = homography(seen.xy_mm, px)
    if h is None:
        raise CameraError(f"{photo.name}: the marks seen lie on one line; show more of the board")
    return BoardPhoto(
        name=photo.name,
        photo_size=stored_size(photo.size, photo.exif),
        model=photo.exif.camera,
        focal_35_mm=photo.exif.focal_35_mm,
        focal_mm=photo.exif.focal_mm,
        focal_px=photo.lens.focal_px,
        sighting=replace(seen, px=px, H_img_sheet=h),
    )


def _of_one_kind(taken: list[BoardPhoto], left_out: list[tuple[str, str]]) -> list[BoardPhoto]:
    """Keep the photos of one size, camera, zoom and board: those of the majority; name the others."""
    kinds: tuple[tuple[str, Callable[[BoardPhoto], Hashable]], ...] = (
        ("another size", lambda p: p.photo_size),
        ("another camera", lambda p: p.model),
        ("another zoom", lambda p: (p.focal_35_mm, p.focal_mm)),
        ("another board or sheet", lambda p: p.sighting.sheet.paper),
    )
    for what, kind in kinds:
        if not taken:
            break
        usual, _ = Counter(kind(p) for p in taken).most_common(1)[0]
        left_out += [(p.name, f"{what} than the other photos") for p in taken if kind(p) != usual]
        taken = [p for p in taken if kind(p) == usual]
    return taken


def calibrate_photos(
    taken: Sequence[BoardPhoto], name: str, left_out: Sequence[tuple[str, str]] = ()
) -> Calibration:
    """Calibrate from photos of one kind; those that disagree with the rest are left out and named.

    Raises
    ------
    CameraError
        Fewer than `FEWEST_PHOTOS` remain.
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
            return _result(photos, problem, params, keep, name, tuple(out))
        k, why = bad
        out.append((photos.pop(k).name, why))


def _require_enough(photos: Sequence[BoardPhoto], left_out: Sequence[tuple[str, str]]) -> None:
    if len(photos) < FEWEST_PHOTOS:
        why = f" ({left_out[0][0]}: {left_out[0][1]})" if left_out else ""
        raise CameraError(
            f"only {len(photos)} photos of the board can be used, {FEWEST_PHOTOS} are needed, 8 to 15 are "
            f"good{why}"
        )


def _problem(photos: Sequence[BoardPhoto]) -> Problem:
    width, height = photos[0].photo_size
    n = N_ALL + 6 * (len(photos) - 1)
    prior, sd = np.zeros(n), np.full(n, np.inf)
    focal = next((p.focal_px for p in photos if p.focal_px is not None), None)
    prior[6] = np.log(focal if focal is not None else 45.0 * np.hypot(width, height) / np.hypot(36, 24))
    sd[LENS] = [_UNKNOWN_F_SD if focal is None else _F_SD, *_LENS_SD]
    prior[9:11] = (width - 1) / 2, (height - 1) / 2
    sd[9:11] *= max(width, height)
    sd[11:13] = UNMEASURED_SD
    sd[N_VIEW:N_ALL] = _BOW_SD_MM
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
    strange = (rms > max(_BAD_PHOTO * typical, _BAD_PX)) | (lost > 0.3)
    if not strange.any():
        return None
    k = int(np.argmax(np.where(strange, rms, 0)))
    why = f"its marks are off by {rms[k]:.2f} px where the others are by {typical:.2f}"
    if photos[k].sighting.blur_px > 2:
        why += f"; it is blurred ({photos[k].sighting.blur_px:.1f} px)"
    return k, f"{why}: the board was bent or moved, or the zoom changed"


def _result(
    photos: Sequence[BoardPhoto],
    problem: Problem,
    params: Array,
    keep: NDArray[np.bool_],
    name: str,
    left_out: tuple[tuple[str, str], ...],
) -> Calibration:
    kept = problem.some(keep)
    index = np.concatenate([p.sighting.index for p in photos])[keep]
    residual, jac = residuals(params, kept)
    alone = covariance(normal_matrix(jac, kept.sigma, kept), kept.held)
    stated = np.concatenate([p.sighting.sigma_px for p in photos])[keep]
    print_sd, noise, shared = _print_and_noise(params, kept, index, residual, jac, alone)
    # never surer than the marks' own stated uncertainties allow
    cov = (alone * max(noise, float(np.mean((stated / kept.sigma) ** 2))) + shared)[np.ix_(LENS, LENS)]
    sheet = photos[0].sighting.sheet
    first = photos[0]
    camera = Camera(
        name=name,
        model=first.model,
        focal_35_mm=first.focal_35_mm,
        focal_mm=first.focal_mm,
        size=first.photo_size,
        params=params[LENS],
        cov=cov,
        rms_px=float(np.sqrt(np.mean(residual**2))),
        n_photos=len(photos),
    )
    off = residual.reshape(-1, 2)
    fits = tuple(_photo_fit(p, params[pose_at(k)], off[kept.pose == k]) for k, p in enumerate(photos))
    return Calibration(
        camera=camera,
        photos=fits,
        left_out=left_out,
        marks_px=kept.px,
        bow_mm=float(np.ptp(bow_shapes(sheet, sheet.saddles) @ params[N_VIEW:N_ALL])),
        print_sd_mm=print_sd,
    )


def _print_and_noise(
    params: Array, kept: Problem, index: NDArray[np.int64], residual: Array, jac: Array, cov: Array
) -> tuple[float, float, Array]:
    """Tell apart what the residuals of one mark have in common and what changes from photo to photo.

    A mark out of place by d moves the unknowns by N^-1 sum(J^T W B) d over all photos, B = d pixel / d place.

    Returns
    -------
    What the print got wrong, sd per mark (mm); the variance of the rest as a multiple of the one assumed; the
    covariance (K, K) that the print causes.
    """
    b = by_place(params, kept)
    weight = 1 / kept.sigma**2
    off_mm = np.linalg.solve(b, residual.reshape(-1, 2, 1))[:, :, 0]
    marks, row = np.unique(index, return_inverse=True)
    times = np.bincount(row)
    mean = np.stack([np.bincount(row, off_mm[:, i]) for i in (0, 1)], axis=1) / times[:, None]
    rest = off_mm - mean[row]
    within = float(np.sum(rest**2)) / max(2 * (len(rest) - len(marks)), 1)
    often = times >= 3
    var = float(np.mean(mean[often] ** 2) - within * np.mean(1 / times[often])) if often.any() else 0.0
    print_sd = float(np.sqrt(max(var, 0.0)))
    rest_px = (b @ rest[:, :, None])[:, :, 0] / kept.sigma[:, None]
    freedom = 2 * (len(rest) - len(marks)) - 6 * kept.n_poses
    noise = float(np.sum(rest_px**2)) / max(freedom, 1)
    pull = np.einsum("nik,n,nij->nkj", jac.reshape(len(b), 2, -1), weight, b)
    shared = np.zeros_like(cov)
    for k in range(len(marks)):
        moved = cov @ pull[row == k].sum(axis=0)
        shared += moved @ moved.T
    return print_sd, noise, shared * print_sd**2


def _photo_fit(photo: BoardPhoto, pose: Array, off: Array) -> PhotoFit:
    import cv2

    rot, _ = cv2.Rodrigues(pose[:3])
    sight = pose[3:] / np.linalg.norm(pose[3:])
    normal = -rot[:, 2] if rot[2, 2] > 0 else rot[:, 2]
    return PhotoFit(
        name=photo.name,
        n_marks=len(off),
        rms_px=float(np.sqrt(np.mean(off**2))),
        tilt_deg=float(np.degrees(np.arccos(np.clip(abs(normal @ sight), 0, 1)))),
        normal_xy=(float(normal[0]), float(normal[1])),
        roll_deg=float(np.degrees(np.arctan2(rot[1, 0], rot[0, 0]))),
        blur_px=photo.sighting.blur_px,
    )
