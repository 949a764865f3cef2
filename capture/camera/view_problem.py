"""What the marks of a photo say and what is expected of lens, print and paper: what `adjust` solves."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.calibrated_camera import LENS, Camera
from capture.camera.lens_model import N_ALL, N_FOLD, N_VIEW, FoldedPiece, Problem
from capture.camera.view_facts import LensCalibrated, LensHinted
from capture.lens_hint import USUAL_F35
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting
from capture.sight.sill_sight import SillSeen


@dataclass(frozen=True, slots=True)
class PriorNumbers:
    """What is believed before the marks are looked at, as standard uncertainties.

    Where nothing else is said: common practice, no source; judged by the normalised error of the plane
    against the truth, which `bench_capture.py` prints.

    Attributes
    ----------
    k1_sd, k2_sd : of the lens's two terms of distortion.
    centre_sd : of the principal point off the middle, as a share of the longer side.
    cropped_centre_sd : the same in a cropped picture: what was cut off may all have been on one side.
    unknown_f_sd : of log f where the photo says nothing: 22 to 90 mm equivalent lie within one sigma of 45.
    model_sd_px : what the two-coefficient lens model leaves over, px.
    model_sd_mm : how far printed saddles lie from their nominal places, mm: the printer's feed, small waves
        of the paper.
    bow_sd_mm : of each of the three bows of the sheet (`bow_shapes`); where paper needs more, the saddles
        say so.
    fold_turn_sd : of the fold line's slope, rad: folded along a line on the print, or scored.
    spring, spring_sd : how far the sill stands off a right angle to the sheet, rad: it springs up, and the
        sheet leans.
    sill_bow_sd_mm : of the sill's bows along the fold and along its depth, mm.
    """

    k1_sd: float = 0.1
    k2_sd: float = 0.2
    centre_sd: float = 0.005
    cropped_centre_sd: float = 0.15
    unknown_f_sd: float = 0.6
    model_sd_px: float = 0.02
    model_sd_mm: float = 0.01
    bow_sd_mm: float = 0.15
    fold_turn_sd: float = 0.004
    spring: float = float(np.radians(0.5))
    spring_sd: float = float(np.radians(1.2))
    sill_bow_sd_mm: tuple[float, float] = (0.2, 0.1)


PRIORS: Final = PriorNumbers()


@dataclass(frozen=True, slots=True, eq=False)
class LensPrior:
    """What is expected of the lens, in the order of `capture.camera.calibrated_camera.LENS`.

    And where it comes from.
    """

    values: Array
    precision: Array
    held: NDArray[np.bool_]
    known: LensCalibrated | LensHinted


def lens_prior(photo: Photo, camera: Camera | None) -> LensPrior:
    """Lens of a photo before looking at it: calibrated, by EXIF, or unknown."""
    if camera is not None:
        lens = camera.for_photo(photo)
        precision = np.asarray(np.linalg.inv(lens.cov), dtype=float)
        return LensPrior(lens.params, precision, np.zeros(len(LENS), dtype=bool), lens.known)
    width, height = photo.size
    hint = photo.lens
    if hint.focal_px is not None:
        log_f, f_sd = float(np.log(hint.focal_px)), hint.rel_sd
    else:
        f_sd = PRIORS.unknown_f_sd
        log_f = float(np.log(USUAL_F35 * np.hypot(width, height) / np.hypot(36, 24)))
    values = np.array([log_f, 0, 0, (width - 1) / 2, (height - 1) / 2, 0, 0, 0])
    centre_sd = (PRIORS.cropped_centre_sd if hint.cropped else PRIORS.centre_sd) * max(width, height)
    sd = np.array([f_sd, PRIORS.k1_sd, PRIORS.k2_sd, centre_sd, centre_sd, 1, 1, 1])
    held = np.arange(len(LENS)) >= 5  # k3, p1, p2: too fine to be told from one photo
    return LensPrior(values, np.diag(np.where(held, 0, 1 / sd**2)), held, LensHinted(hint))


def problem_of(photo: Photo, sighting: Sighting, scale: PrintScale, lens: LensPrior) -> Problem:
    """Put together what the marks of sheet, apron and sill say and what is expected."""
    flat, sill = flat_targets(sighting), sighting.sill
    n_poses = len(flat)
    n = N_ALL + 6 * (n_poses - 1) + N_FOLD * len(sill)
    prior, precision, held = np.zeros(n), np.zeros((n, n)), np.zeros(n, dtype=bool)
    prior[LENS], held[LENS] = lens.values, lens.held
    precision[np.ix_(LENS, LENS)] = lens.precision
    prior[11:13] = np.log(scale.across), np.log(scale.up)
    precision[11, 11], precision[12, 12] = 1 / scale.across_sd**2, 1 / scale.up_sd**2
    bows = np.arange(N_VIEW, N_ALL)
    precision[bows, bows] = 1 / PRIORS.bow_sd_mm**2
    parts = [*flat, *((part.xy_mm, part.px, part.sigma_px, part.H_img_paper) for part in sill)]
    shapes = [bow_shapes(sighting.sheet, sighting.xy_mm)]
    shapes += [np.zeros((len(target[0]), 3)) for target in flat[1:]]
    shapes += [bow_shapes(sighting.sheet, part.xy_mm * [1, 0] + [0, part.sill.fold_mm]) for part in sill]
    counts = [len(p[0]) for p in parts]
    problem = Problem(
        xy_mm=np.concatenate([p[0] for p in parts]),
        px=np.concatenate([p[1] for p in parts]),
        sigma=np.concatenate([mark_sigma(p[2], p[3]) for p in parts]),
        shapes=np.concatenate(shapes),
        pose=np.repeat([*range(n_poses), *(0 for _ in sill)], counts),
        n_poses=n_poses,
        prior=prior,
        precision=precision,
        held=held,
        fold=np.repeat([*(-1 for _ in range(n_poses)), *range(len(sill))], counts),
        pieces=tuple(_piece(part) for part in sill),
    )
    for k, part in enumerate(sill):
        at = np.arange(n)[problem.fold_at(k)]
        prior[at[0]], prior[at[2]] = part.sill.fold_mm * scale.up, PRIORS.spring
        sd = np.array([part.sill.fold_sd_mm, PRIORS.fold_turn_sd, PRIORS.spring_sd, *PRIORS.sill_bow_sd_mm])
        precision[at, at] = 1 / sd**2
    return problem


def flat_targets(sighting: Sighting) -> list[tuple[Array, Array, Array, Array]]:
    """Places, pixels, uncertainty and homography of the sheet, of the apron's and the doorstep's halves."""
    return [
        (sighting.xy_mm, sighting.px, sighting.sigma_px, sighting.H_img_sheet),
        *((half.xy_mm, half.px, half.sigma_px, half.H_img_apron) for half in sighting.apron),
        *((part.xy_mm, part.px, part.sigma_px, part.H_img_paper) for part in sighting.doorstep),
    ]


def _piece(seen: SillSeen) -> FoldedPiece:
    left, right = seen.part.span_mm
    return FoldedPiece(middle_mm=(left + right) / 2, half_mm=(right - left) / 2, depth_mm=seen.sill.depth_mm)


def mark_sigma(sigma_px: Array, h: Array) -> Array:
    """Return the standard uncertainty (M,) of marks, px: the fit's, and what print and lens leave over."""
    px_per_mm = np.sqrt(np.abs(np.linalg.det(h))) / np.abs(h[2, 2]) ** 1.5
    out: Array = np.hypot(sigma_px, np.hypot(PRIORS.model_sd_px, PRIORS.model_sd_mm * px_per_mm))
    return out


def bow_shapes(sheet: MarkerSheet, xy_mm: Array) -> Array:
    """Heights (N, 3) of a sheet bowed by 1 mm about its y axis, about its x axis, and twisted.

    Each has no mean and no tilt over the whole ring, so that z = 0 stays the sheet's mean plane.
    """

    def curves(xy: Array) -> Array:
        u, v = (xy / np.abs(sheet.saddles).max(axis=0)).T
        return np.column_stack([u * u, v * v, u * v])

    out: Array = curves(xy_mm) - curves(sheet.saddles).mean(axis=0)
    return out
