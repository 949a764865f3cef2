"""One least-squares adjustment of camera pose, lens and print scale from the saddles of the sheet.

Unknowns are those of `capture.camera.view.PARAMS` and three numbers for a sheet that is not quite flat. Prior
knowledge enters as further observations with their standard uncertainties (focal length from EXIF, print
scale from the check bars, small distortion, principal point near the middle, small bows), so that what the
photo cannot tell stays as doubtful as it was (Gauss-Markov model with pseudo-observations: Förstner &
Wrobel, Photogrammetric Computer Vision, 2016, chapter 4; from memory).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.apron_lines import apron_lines
from capture.camera.calibrated_camera import LENS, Camera, CameraError, require_fit
from capture.camera.known_page import KnownPage
from capture.camera.lens_model import (
    N_ALL,
    N_FOLD,
    N_VIEW,
    FoldedPiece,
    Problem,
    covariance,
    normal_matrix,
    residuals,
)
from capture.camera.page_from_sill import page_of_doorstep, page_of_sill
from capture.camera.solver import adjust_without_outliers, first_guess
from capture.camera.view import View
from capture.camera.view_facts import (
    LensCalibrated,
    LensHinted,
    MarksLeftOut,
    MarksSeen,
    PrintMeasured,
    PrintTaken,
    ViewFact,
)
from capture.errors import SheetError
from capture.lens_hint import USUAL_F35
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting
from capture.sight.sill_sight import SillSeen

K1_SD: Final = 0.1
K2_SD: Final = 0.2
CENTRE_SD: Final = 0.005
"""Principal point off the middle, as a share of the longer side."""

CROPPED_CENTRE_SD: Final = 0.15
"""The same in a cropped picture: what was cut off may all have been on one side."""

UNKNOWN_F_SD: Final = 0.6
"""Doubt of log f where the photo says nothing: 22 to 90 mm equivalent lie within one sigma of 45 mm."""

_MODEL_SD_PX: Final = 0.02
"""What the two-coefficient lens model leaves over."""

_MODEL_SD_MM: Final = 0.01
"""How far printed saddles lie from their nominal places: the printer's feed, small waves of the paper
(common practice, no source)."""

_BOW_SD_MM: Final = 0.15
"""Prior doubt of each of the three bows of the sheet (see `bow_shapes`); where paper needs more, the
saddles say so."""

_FOLD_TURN_SD: Final = 0.004
"""Prior doubt of the fold line's slope, rad: folded along a line on the print, or scored."""

_SPRING: Final = np.radians(0.5)
_SPRING_SD: Final = np.radians(1.2)
"""How far the sill stands off a right angle to the sheet: it springs up, and the sheet leans."""

_SILL_BOW_SD_MM: Final = (0.2, 0.1)
"""Prior doubt of the sill's bows along the fold and along its depth."""

_MAX_BOW_MM: Final = 3.0

_MAX_TILT_DEG: Final = 40.0
_LEAST_PX_PER_MM: Final = 1.5
_MAX_RMS_MM: Final = 0.15
_MAX_RMS_PX: Final = 0.5
_MAX_OUTLIERS: Final = 0.3
_BARS_OFF: Final = 3.5
"""The photo draws the print's shape so many standard uncertainties of the bars away from what they say."""


def solve_view(
    photo: Photo, sighting: Sighting, print_scale: PrintScale | None = None, camera: Camera | None = None
) -> View:
    """Solve the camera of a photo.

    Parameters
    ----------
    photo : its size and what EXIF says of the lens.
    sighting : the saddles seen, those of an apron included.
    print_scale : from the check bars; None if they were not measured.
    camera : a calibrated camera; None = what EXIF says, or nothing.

    Returns
    -------
    View
        Its covariance is absolute (from the stated uncertainties). How well the marks are printed is
        estimated from the residuals, down to what the fits themselves state; where the residuals are larger
        than all of that explains, the covariance is enlarged by reduced chi-square.

    Raises
    ------
    SheetError
        The sheet is too oblique, too small, curled, moved, or too many of its marks disagree.
    CameraError
        The calibrated camera is not the one that took this photo.
    """
    scale = print_scale or PrintScale()
    prior = _lens_prior(photo, camera)
    problem = _problem(photo, sighting, scale, prior)
    homographies = [part[3] for part in _flat_targets(sighting)]
    try:
        params, keep = adjust_without_outliers(problem, first_guess(problem, homographies))
    except np.linalg.LinAlgError:
        raise SheetError(
            f"{photo.name}: the camera's place cannot be worked out from the sheet; photograph it again"
        ) from None
    kept = problem.some(keep)
    residual, jac = residuals(params, kept)
    # 9 unknowns are determined by the sheet's saddles (pose and at most f, k1, k2), 6 by each half of an
    # apron or a doorstep, about 4 by each piece of a sill; the rest lives on its priors.
    weight = 1 / np.repeat(kept.sigma**2, 2)
    freedom = 2 * len(kept.px) - 9 - 6 * (problem.n_poses - 1) - 4 * len(sighting.sill)
    chi2 = float(np.sum(weight * residual**2)) / max(freedom, 1)
    # Prints differ: the residuals say how well this one is made, but never less than the fits' own doubt.
    own = [part[2] for part in _flat_targets(sighting)] + [s.sigma_px for s in sighting.sill]
    fits = np.concatenate(own)[keep]
    least = float(np.mean((fits**2 + _MODEL_SD_PX**2) / kept.sigma**2))
    sigma = kept.sigma * np.sqrt(np.clip(chi2, least, 1.0))
    cov = covariance(normal_matrix(jac, sigma, kept), kept.held) * max(chi2, 1.0)
    upright = problem.upright
    on_sheet = upright[keep]
    rms = float(np.sqrt(np.mean(residual.reshape(-1, 2)[on_sheet] ** 2)))
    bow_mm = float(np.ptp(bow_shapes(sighting.sheet, sighting.sheet.saddles) @ params[N_VIEW:N_ALL]))
    n_lost = int(np.count_nonzero(~keep[upright]))
    view = View(
        params=params[:N_VIEW],
        cov=cov[:N_VIEW, :N_VIEW],
        size=photo.size,
        rms_px=rms,
        n_saddles=int(np.count_nonzero(on_sheet)),
        notes=_notes(sighting, scale, prior, n_lost),
        bow_mm=bow_mm,
        apron=apron_lines(params, cov, sighting.apron),
        page=_page(params, cov, sighting, problem),
    )
    _require_sound(photo.name, view, sighting, n_lost, bow_mm)
    _require_bars_fit(photo.name, view, scale)
    if camera is not None:
        off = params[LENS] - prior.values
        try:
            require_fit(photo.name, camera, float(off @ prior.precision @ off), float(off[0]))
        except CameraError:
            if not sighting.sill:
                raise
            # Paper that springs up, or bridges the gully, misleads the lens; the upright sheet does not.
            return solve_view(photo, replace(sighting, sill=()), print_scale, camera)
    return view


def tilt_deg(view: View) -> float:
    """Angle between the line of sight to the sheet's middle and the sheet's normal, degrees."""
    eye = view.eye_mm()
    return float(np.degrees(np.arccos(eye[2] / np.linalg.norm(eye))))


@dataclass(frozen=True, slots=True, eq=False)
class _LensPrior:
    """What is expected of the lens, in the order of `capture.camera.calibrated_camera.LENS`.

    And where it comes from.
    """

    values: Array
    precision: Array
    held: NDArray[np.bool_]
    known: LensCalibrated | LensHinted


def _lens_prior(photo: Photo, camera: Camera | None) -> _LensPrior:
    """Lens of a photo before looking at it: calibrated, by EXIF, or unknown."""
    if camera is not None:
        lens = camera.for_photo(photo)
        precision = np.asarray(np.linalg.inv(lens.cov), dtype=float)
        return _LensPrior(lens.params, precision, np.zeros(len(LENS), dtype=bool), lens.known)
    width, height = photo.size
    hint = photo.lens
    if hint.focal_px is not None:
        log_f, f_sd = float(np.log(hint.focal_px)), hint.rel_sd
    else:
        log_f, f_sd = float(np.log(USUAL_F35 * np.hypot(width, height) / np.hypot(36, 24))), UNKNOWN_F_SD
    values = np.array([log_f, 0, 0, (width - 1) / 2, (height - 1) / 2, 0, 0, 0])
    centre_sd = (CROPPED_CENTRE_SD if hint.cropped else CENTRE_SD) * max(width, height)
    sd = np.array([f_sd, K1_SD, K2_SD, centre_sd, centre_sd, 1, 1, 1])
    held = np.arange(len(LENS)) >= 5  # k3, p1, p2: too fine to be told from one photo
    return _LensPrior(values, np.diag(np.where(held, 0, 1 / sd**2)), held, LensHinted(hint))


def _problem(photo: Photo, sighting: Sighting, scale: PrintScale, lens: _LensPrior) -> Problem:
    """Put together what the marks of sheet, apron and sill say and what is expected."""
    flat, sill = _flat_targets(sighting), sighting.sill
    n_poses = len(flat)
    n = N_ALL + 6 * (n_poses - 1) + N_FOLD * len(sill)
    prior, precision, held = np.zeros(n), np.zeros((n, n)), np.zeros(n, dtype=bool)
    prior[LENS], held[LENS] = lens.values, lens.held
    precision[np.ix_(LENS, LENS)] = lens.precision
    prior[11:13] = np.log(scale.across), np.log(scale.up)
    precision[11, 11], precision[12, 12] = 1 / scale.across_sd**2, 1 / scale.up_sd**2
    bows = np.arange(N_VIEW, N_ALL)
    precision[bows, bows] = 1 / _BOW_SD_MM**2
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
        prior[at[0]], prior[at[2]] = part.sill.fold_mm * scale.up, _SPRING
        sd = np.array([part.sill.fold_sd_mm, _FOLD_TURN_SD, _SPRING_SD, *_SILL_BOW_SD_MM])
        precision[at, at] = 1 / sd**2
    return problem


def _flat_targets(sighting: Sighting) -> list[tuple[Array, Array, Array, Array]]:
    """Places, pixels, uncertainty and homography of the sheet, of the apron's and the doorstep's halves."""
    return [
        (sighting.xy_mm, sighting.px, sighting.sigma_px, sighting.H_img_sheet),
        *((half.xy_mm, half.px, half.sigma_px, half.H_img_apron) for half in sighting.apron),
        *((part.xy_mm, part.px, part.sigma_px, part.H_img_paper) for part in sighting.doorstep),
    ]


def _page(params: Array, cov: Array, sighting: Sighting, problem: Problem) -> KnownPage | None:
    """Return the page by the sill, else by a doorstep; None without either."""
    if sighting.doorstep:
        return page_of_doorstep(params, cov, sighting.doorstep, 1 + len(sighting.apron))
    return page_of_sill(
        params,
        cov,
        sighting.sill,
        problem.pieces,
        problem.fold_at,
        lambda xy: bow_shapes(sighting.sheet, xy),
    )


def _piece(seen: SillSeen) -> FoldedPiece:
    left, right = seen.part.span_mm
    return FoldedPiece(middle_mm=(left + right) / 2, half_mm=(right - left) / 2, depth_mm=seen.sill.depth_mm)


def mark_sigma(sigma_px: Array, h: Array) -> Array:
    """Return the standard uncertainty (M,) of marks, px: the fit's, and what print and lens leave over."""
    px_per_mm = np.sqrt(np.abs(np.linalg.det(h))) / np.abs(h[2, 2]) ** 1.5
    out: Array = np.hypot(sigma_px, np.hypot(_MODEL_SD_PX, _MODEL_SD_MM * px_per_mm))
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


def _notes(sighting: Sighting, scale: PrintScale, lens: _LensPrior, n_outliers: int) -> tuple[ViewFact, ...]:
    return (
        lens.known,
        PrintMeasured(scale.across, scale.up) if scale.measured else PrintTaken(scale.across_sd),
        MarksSeen(len(sighting.index), sighting.n_expected),
        *((MarksLeftOut(n_outliers),) if n_outliers else ()),
    )


def stretch(view: View) -> tuple[float, float]:
    """How much more the print is stretched across than up (ratio less 1), and its standard uncertainty."""
    difference = np.zeros(len(view.params))
    difference[11], difference[12] = 1, -1
    return (
        float(np.expm1(difference @ view.params)),
        float(np.sqrt(difference @ view.cov @ difference)),
    )


def _require_bars_fit(name: str, view: View, scale: PrintScale) -> None:
    """Refuse bars whose ratio the photo contradicts: it sees the shape of the print, though not its size."""
    if not scale.measured:
        return
    read = scale.across / scale.up - 1
    seen, _ = stretch(view)
    if abs(seen - read) > _BARS_OFF * float(np.hypot(scale.across_sd, scale.up_sd)):
        raise SheetError(
            f"{name}: by the check bars the print is {100 * read:+.2f} % wider than high, by the photo "
            f"{100 * seen:+.2f} %; measure both bars again, from tick to tick, across first"
        )


def _require_sound(name: str, view: View, sighting: Sighting, n_outliers: int, bow_mm: float) -> None:
    """Refuse a view that cannot carry a measurement."""
    if not np.all(np.isfinite(view.params)) or not np.all(np.isfinite(view.cov)):
        raise SheetError(
            f"{name}: the camera's place cannot be worked out from the sheet; photograph it again"
        )
    per_mm = view.px_per_mm(np.zeros(2))
    if n_outliers > _MAX_OUTLIERS * len(sighting.px) or (
        view.rms_px > _MAX_RMS_PX and view.rms_px / per_mm > _MAX_RMS_MM
    ):
        raise SheetError(
            f"{name}: the marks do not lie on one plane (rms {view.rms_px / per_mm:.2f} mm, {n_outliers} of "
            f"{len(sighting.px)} far off); the sheet is curled or was moved: flatten it on stiff board"
        )
    if bow_mm > _MAX_BOW_MM:
        raise SheetError(
            f"{name}: the sheet is bowed by about {bow_mm:.0f} mm, too much to measure in its plane; "
            "flatten it on stiff board"
        )
    tilt = tilt_deg(view)
    if tilt > _MAX_TILT_DEG:
        raise SheetError(
            f"{name}: the sheet is seen {tilt:.0f} degrees from the side, over {_MAX_TILT_DEG:.0f}; "
            "photograph it more squarely"
        )
    if per_mm < _LEAST_PX_PER_MM:
        raise SheetError(
            f"{name}: only {per_mm:.1f} pixels per mm, under {_LEAST_PX_PER_MM}; "
            "go nearer or use the camera's full size"
        )
