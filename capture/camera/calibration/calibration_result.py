"""What a calibration gives: the camera, and how much of its doubt the print is to blame for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.calibrated_camera import LENS, Camera
from capture.camera.calibration.board_photos import BoardPhoto
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
from capture.camera.view_problem import bow_shapes


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


def calibration_of(
    photos: Sequence[BoardPhoto],
    problem: Problem,
    params: Array,
    keep: NDArray[np.bool_],
    name: str,
    left_out: tuple[tuple[str, str], ...],
) -> Calibration:
    """Return the calibration from the adjusted unknowns.

    Parameters
    ----------
    photos : that took part. problem : what their marks say. params : all unknowns, adjusted.
    keep : the marks that agree with the rest. name : of the camera. left_out : (photo, why).
    """
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
