"""One least-squares adjustment of camera pose, lens and print scale from the saddles of the sheet.

Unknowns are those of `capture.view.PARAMS` and three numbers for a sheet that is not quite flat. Prior
knowledge enters as further observations with their standard uncertainties (focal length from EXIF, print
scale from the check bars, small distortion, principal point near the middle, small bows), so that what the
photo cannot tell stays as doubtful as it was (Gauss-Markov model with pseudo-observations: Förstner &
Wrobel, Photogrammetric Computer Vision, 2016, chapter 4; from memory).
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.errors import SheetError
from capture.photo import Photo
from capture.print_scale import PrintScale
from capture.sheet import MarkerSheet
from capture.sighting import Sighting
from capture.solver import N_ALL, N_VIEW, Problem, adjust_without_outliers, first_guess, residuals
from capture.view import View

Array = NDArray[np.float64]

K1_SD: Final = 0.1
K2_SD: Final = 0.2
CENTRE_SD: Final = 0.005
"""Principal point off the middle, as a share of the longer side."""

UNKNOWN_F_SD: Final = 0.6
"""Doubt of log f where the photo says nothing: 22 to 90 mm equivalent lie within one sigma of 45 mm."""

_UNKNOWN_F35: Final = 45.0
_MODEL_SD_PX: Final = 0.02
"""What the two-coefficient lens model leaves over."""

_MODEL_SD_MM: Final = 0.01
"""How far printed saddles lie from their nominal places: the printer's feed, small waves of the paper
(common practice, no source)."""

_BOW_SD_MM: Final = 0.15
"""Prior doubt of each of the three bows of the sheet (see `_bow_shapes`); where paper needs more, the
saddles say so."""

_MAX_BOW_MM: Final = 3.0

_MAX_TILT_DEG: Final = 40.0
_LEAST_PX_PER_MM: Final = 1.5
_MAX_RMS_MM: Final = 0.15
_MAX_RMS_PX: Final = 0.5
_MAX_OUTLIERS: Final = 0.3


def solve_view(photo: Photo, sighting: Sighting, print_scale: PrintScale | None = None) -> View:
    """Solve the camera of a photo.

    Parameters
    ----------
    photo : its size and what EXIF says of the lens.
    sighting : the saddles seen.
    print_scale : from the check bars; None if they were not measured.

    Returns
    -------
    View
        Its covariance is absolute (from the stated uncertainties); when the residuals are larger than those
        explain, it is enlarged by reduced chi-square. It is never made smaller.

    Raises
    ------
    SheetError
        The sheet is too oblique, too small, curled, moved, or too many of its marks disagree.
    """
    scale = print_scale or PrintScale()
    problem = _problem(photo, sighting, scale)
    try:
        params, keep = adjust_without_outliers(problem, first_guess(problem, sighting.H_img_sheet))
    except np.linalg.LinAlgError:
        raise SheetError(
            f"{photo.name}: the camera's place cannot be worked out from the sheet; photograph it again"
        ) from None
    kept = problem.some(keep)
    residual, jac = residuals(params, kept)
    weight = 1 / np.repeat(kept.sigma**2, 2)
    normal = jac.T @ (weight[:, None] * jac) + np.diag(1 / kept.prior_sd**2)
    # 9 unknowns are determined by the saddles (pose and at most f, k1, k2); the rest lives on its priors.
    chi2 = float(np.sum(weight * residual**2)) / max(2 * len(kept.px) - 9, 1)
    cov = np.linalg.inv(normal) * max(chi2, 1.0)
    rms = float(np.sqrt(np.mean(residual**2)))
    bow_mm = float(np.ptp(_bow_shapes(sighting.sheet, sighting.sheet.saddles) @ params[N_VIEW:]))
    view = View(
        params=params[:N_VIEW],
        cov=np.asarray((cov + cov.T) / 2, dtype=float)[:N_VIEW, :N_VIEW],
        size=photo.size,
        rms_px=rms,
        n_saddles=len(kept.px),
        notes=_notes(photo, sighting, scale, int(np.count_nonzero(~keep)), bow_mm),
    )
    _require_sound(photo.name, view, sighting, int(np.count_nonzero(~keep)), bow_mm)
    return view


def tilt_deg(view: View) -> float:
    """Angle between the line of sight to the sheet's middle and the sheet's normal, degrees."""
    eye = view.eye_mm()
    return float(np.degrees(np.arccos(eye[2] / np.linalg.norm(eye))))


def _problem(photo: Photo, sighting: Sighting, scale: PrintScale) -> Problem:
    width, height = photo.size
    prior = np.zeros(N_ALL)
    sd = np.full(N_ALL, np.inf)
    sd[N_VIEW:] = _BOW_SD_MM
    if photo.lens.focal_px is not None:
        prior[6], sd[6] = np.log(photo.lens.focal_px), photo.lens.rel_sd
    else:
        prior[6] = np.log(_UNKNOWN_F35 * np.hypot(width, height) / np.hypot(36, 24))
        sd[6] = UNKNOWN_F_SD
    sd[7], sd[8] = K1_SD, K2_SD
    prior[9:11] = (width - 1) / 2, (height - 1) / 2
    sd[9:11] = CENTRE_SD * max(width, height)
    prior[11:13] = np.log(scale.across), np.log(scale.up)
    sd[11:13] = scale.across_sd, scale.up_sd
    px_per_mm = (
        np.sqrt(np.abs(np.linalg.det(sighting.H_img_sheet))) / np.abs(sighting.H_img_sheet[2, 2]) ** 1.5
    )
    model_px = np.hypot(_MODEL_SD_PX, _MODEL_SD_MM * px_per_mm)
    sigma = np.hypot(sighting.sigma_px, model_px)
    shapes = _bow_shapes(sighting.sheet, sighting.xy_mm)
    return Problem(sighting.xy_mm, sighting.px, sigma, shapes, prior, sd)


def _bow_shapes(sheet: MarkerSheet, xy_mm: Array) -> Array:
    """Heights (N, 3) of a sheet bowed by 1 mm about its y axis, about its x axis, and twisted.

    Each has no mean and no tilt over the whole ring, so that z = 0 stays the sheet's mean plane.
    """

    def curves(xy: Array) -> Array:
        u, v = (xy / np.abs(sheet.saddles).max(axis=0)).T
        return np.column_stack([u * u, v * v, u * v])

    out: Array = curves(xy_mm) - curves(sheet.saddles).mean(axis=0)
    return out


def _notes(
    photo: Photo, sighting: Sighting, scale: PrintScale, n_outliers: int, bow_mm: float
) -> tuple[str, ...]:
    notes = [
        f"focal length: {photo.lens.source}, {100 * photo.lens.rel_sd:.1f} % doubtful, refined by the sheet"
        if photo.lens.focal_px is not None
        else f"focal length: {photo.lens.source}; worked out from the sheet alone",
        f"print scale: measured, {scale.across:.4f} across and {scale.up:.4f} up"
        if scale.measured
        else f"print scale: not measured, taken as 1 with {100 * scale.across_sd:.1f} % doubt; "
        "measure the two check bars to remove it",
        f"marks: {len(sighting.index)} of the uncut sheet's {sighting.n_expected} seen",
    ]
    if n_outliers:
        notes.append(f"{n_outliers} of them disagreed with the rest and were left out")
    if bow_mm > 0.5:
        notes.append(f"the sheet is bowed by about {bow_mm:.1f} mm; this is allowed for, but flatten it")
    return tuple(notes)


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
