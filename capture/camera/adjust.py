"""One least-squares adjustment of camera pose, lens and print scale from the saddles of the sheet.

Unknowns are those of `capture.camera.view.PARAMS` and three numbers for a sheet that is not quite flat. Prior
knowledge enters as further observations with their standard uncertainties (focal length from EXIF, print
scale from the check bars, small distortion, principal point near the middle, small bows), so that what the
photo cannot tell stays as doubtful as it was (Gauss-Markov model with pseudo-observations: Förstner &
Wrobel, Photogrammetric Computer Vision, 2016, chapter 4; from memory).
"""

from dataclasses import replace

import numpy as np

from capture.arrays import Array
from capture.camera.apron_lines import apron_lines
from capture.camera.calibrated_camera import LENS, Camera, CameraError, require_fit
from capture.camera.known_page import KnownPage
from capture.camera.lens_model import N_ALL, N_VIEW, Problem, covariance, normal_matrix, residuals
from capture.camera.page_from_sill import page_of_doorstep, page_of_sill
from capture.camera.solver import adjust_without_outliers, first_guess
from capture.camera.view import View
from capture.camera.view_checks import require_bars_fit, require_sound
from capture.camera.view_facts import MarksLeftOut, MarksSeen, PrintMeasured, PrintTaken, ViewFact
from capture.camera.view_problem import PRIORS, LensPrior, bow_shapes, flat_targets, lens_prior, problem_of
from capture.errors import SheetError
from capture.photo import Photo
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting


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
    prior = lens_prior(photo, camera)
    problem = problem_of(photo, sighting, scale, prior)
    homographies = [part[3] for part in flat_targets(sighting)]
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
    own = [part[2] for part in flat_targets(sighting)] + [s.sigma_px for s in sighting.sill]
    fits = np.concatenate(own)[keep]
    least = float(np.mean((fits**2 + PRIORS.model_sd_px**2) / kept.sigma**2))
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
    require_sound(photo.name, view, sighting, n_lost, bow_mm)
    require_bars_fit(photo.name, view, scale)
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


def _notes(sighting: Sighting, scale: PrintScale, lens: LensPrior, n_outliers: int) -> tuple[ViewFact, ...]:
    return (
        lens.known,
        PrintMeasured(scale.across, scale.up) if scale.measured else PrintTaken(scale.across_sd),
        MarksSeen(len(sighting.index), sighting.n_expected),
        *((MarksLeftOut(n_outliers),) if n_outliers else ()),
    )
