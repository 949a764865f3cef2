"""The saddles of the whole sheet: fitted twice where need be, and which of them look as they were printed."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.photo import Photo
from capture.sheet.marker_sheet import TAG_SHARE
from capture.sight.saddles import SaddleFits, fit_saddles
from capture.sight.tags import Tags, apply_h, nearby_mean


@dataclass(frozen=True, slots=True)
class LookNumbers:
    """How a saddle must look; judged on drawn sheets, blurred, glaring and half hidden, and on the samples.

    Attributes
    ----------
    least_contrast : white less black, grey levels.
    most_misfit, worst_misfit : residual as a share of the contrast: the first for usual pictures, the second
        for very noisy ones.
    times_usual, noisy_times_usual : misfit over the usual one of the photo, for the two.
    least_misfit : below this share nobody is left out for it.
    most_sigma_px : standard uncertainty of its place.
    most_shift_squares : from where it should be, as a share of the square.
    share_of_contrast : of the photo's usual contrast, at least.
    times_blur, more_blur_px : of the photo's usual blur, at most.
    worth_a_second_look : saddles that failed are tried again where their neighbours say they lie, if that is
        so far (share of the square) from the first guess.
    neighbours : saddles there must be for it.
    glare_misfit : a mark whose pattern shows so well was lost to glare, not to something before it.
    """

    least_contrast: float = 12.0
    most_misfit: float = 0.12
    worst_misfit: float = 0.35
    times_usual: float = 3.0
    noisy_times_usual: float = 1.6
    least_misfit: float = 0.03
    most_sigma_px: float = 0.4
    most_shift_squares: float = 0.17
    share_of_contrast: float = 0.25
    times_blur: float = 2.5
    more_blur_px: float = 0.5
    worth_a_second_look: float = 0.02
    neighbours: int = 8
    glare_misfit: float = 0.2


LOOKS: Final = LookNumbers()


def fit_all(photo: Photo, tags: Tags) -> tuple[SaddleFits, NDArray[np.bool_]]:
    """Fit all saddles; those that failed get a second chance from where their fitted neighbours lie."""
    sheet = tags.sheet
    predicted = tags.predict(sheet.saddles)
    fits = fit_saddles(
        photo.grey, tags.H_img_sheet, sheet.saddles, predicted, sheet.saddle_sign, sheet.square_mm
    )
    good = acceptable(fits, square_px_of(tags))
    if good.all() or np.count_nonzero(good) < LOOKS.neighbours:
        return fits, good
    lag = fits.px[good] - apply_h(tags.H_img_sheet, sheet.saddles[good])
    better = apply_h(tags.H_img_sheet, sheet.saddles) + nearby_mean(sheet.saddles, sheet.saddles[good], lag)
    far_px = LOOKS.worth_a_second_look * square_px_of(tags)
    moved = ~good & (np.linalg.norm(better - predicted, axis=1) > far_px)
    if not moved.any():
        return fits, good
    predicted = np.where(moved[:, None], better, predicted)
    fits = fit_saddles(
        photo.grey, tags.H_img_sheet, sheet.saddles, predicted, sheet.saddle_sign, sheet.square_mm
    )
    return fits, acceptable(fits, square_px_of(tags))


def acceptable(fits: SaddleFits, square_px: float) -> NDArray[np.bool_]:
    """Saddles that look as printed: right polarity, contrast, shape, and near where they should be."""
    limit = LOOKS.most_shift_squares * square_px
    with np.errstate(invalid="ignore"):
        good = (
            fits.inside
            & (fits.contrast > LOOKS.least_contrast)
            & (fits.misfit < LOOKS.worst_misfit)
            & (fits.sigma_px < LOOKS.most_sigma_px)
            & (fits.shift_px < limit)
        )
        if good.any():
            usual = float(np.median(fits.misfit[good]))  # noise, mostly
            most = max(LOOKS.most_misfit, LOOKS.noisy_times_usual * usual)
            good &= fits.misfit < np.clip(LOOKS.times_usual * usual, LOOKS.least_misfit, most)
        if good.any():
            good &= fits.contrast > LOOKS.share_of_contrast * np.median(fits.contrast[good])
            good &= fits.blur_px < LOOKS.times_blur * np.median(fits.blur_px[good]) + LOOKS.more_blur_px
    return good


def square_px_of(tags: Tags) -> float:
    """Side of a checkerboard square in pixels."""
    sides = np.linalg.norm(tags.corners_px - np.roll(tags.corners_px, 1, axis=1), axis=2)
    return float(np.median(sides)) / TAG_SHARE


def count_glare(fits: SaddleFits, index: NDArray[np.int64]) -> int:
    """Count the marks that show their pattern but were lost, their black brighter than middle grey."""
    clear = np.nan_to_num(fits.misfit, nan=1.0) < LOOKS.glare_misfit
    shown = fits.inside & (np.nan_to_num(fits.contrast) > LOOKS.least_contrast) & clear
    lost = np.setdiff1d(np.flatnonzero(shown), index)
    white, contrast = np.median(fits.white[index]), np.median(fits.contrast[index])
    black = fits.white[lost] - fits.contrast[lost]
    return int(np.count_nonzero((black > white - contrast / 2) & (fits.white[lost] > white - contrast / 4)))
