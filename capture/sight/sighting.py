"""Finding the marker sheet: its saddles in pixels, with uncertainty, matched with sheet millimetres."""

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels
from capture.errors import SheetError
from capture.lens_hint import USUAL_F35
from capture.photo import Photo
from capture.sheet.apron import APRON, SQUARE_MM, ApronHalf
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.sill import CLEAR_OF_FOLD_MM, DOORSTEP, SILL_SHEETS, Sill, folded_band, printed_sill
from capture.sight.saddles import SaddleFits, fit_saddles
from capture.sight.screen import refuse_screens
from capture.sight.shake import blur_ratio
from capture.sight.sill_sight import SillSeen, find_doorstep, find_sill, upright_tags
from capture.sight.tags import Tags, apply_h, find_tags, homography, nearby_mean, tags_homography

FEWEST_SADDLES: Final = 16
"""Fewer cannot carry pose, focal length and distortion with anything left to check them."""

FEWEST_APRON_SADDLES: Final = 6
"""Fewer do not fix the plane of an apron's half."""

MIN_SPAN_ACROSS: Final = 0.7
MIN_SPAN_UP: Final = 0.35
"""The saddles seen must span these shares of the ring, or the plane is extrapolated and not measured."""

_MAX_MISFIT: Final = 0.12
_WORST_MISFIT: Final = 0.35
"""Residual as a share of the contrast: the first for usual pictures, the second for very noisy ones."""

_MAX_SIGMA_PX: Final = 0.4
_MAX_SHIFT_SQUARES: Final = 0.17

FEWEST_SILL_TAGS: Final = 2
"""So many tags of the sill in the plane of the upright sheet: it is not folded."""

_MOST_UNFOLDED: Final = 0.2
"""Where more than this share of the marks below the fold are seen as on a flat sheet, it is not folded."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HalfSeen:
    """One half of the apron as seen in one photo.

    Attributes
    ----------
    half : which one.
    xy_mm : (M, 2) its saddles that were seen, apron coordinates, nominal mm.
    px : (M, 2) their places in the photo.
    sigma_px : (M,) standard uncertainty per axis.
    H_img_apron : (3, 3) homography, pixels <- apron mm.
    """

    half: ApronHalf
    xy_mm: Array = field(repr=False)
    px: Array = field(repr=False)
    sigma_px: Array = field(repr=False)
    H_img_apron: Array = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sighting:
    """The sheet as seen in one photo.

    Attributes
    ----------
    sheet : which sheet it is.
    index : (M,) rows of `sheet.saddles` that were seen.
    xy_mm : (M, 2) their places on the sheet, nominal mm.
    px : (M, 2) their places in the photo.
    sigma_px : (M,) standard uncertainty per axis.
    H_img_sheet : (3, 3) homography from the tags, pixels <- nominal mm; without lens distortion.
    blur_px : median standard deviation of the blur at the saddles (pixel's own width included).
    contrast : median difference of white and black, grey levels.
    clipped : share of the saddles whose white is at the top of the scale.
    n_tags : coded tags read.
    n_bottom_band, bottom_band_seen : saddles seen in the band that the arch cut removes. Seen proves an
        uncut sheet; unseen proves nothing, for the dummy may hide the band.
    blur_ratio : blur up and down over blur across; far from 1 where the camera moved.
    n_glare : marks lost because their black was nearly as bright as white elsewhere.
    apron : the halves of the apron that were seen.
    sill : the pieces of the sheet that lie folded on the page; empty if it stands or hangs unfolded.
    doorstep : the halves of the doorstep that lie on the page; looked for where no sill is seen.
    """

    sheet: MarkerSheet
    index: NDArray[np.int64]
    xy_mm: Array = field(repr=False)
    px: Array = field(repr=False)
    sigma_px: Array = field(repr=False)
    H_img_sheet: Array = field(repr=False)
    blur_px: float
    contrast: float
    clipped: float
    n_tags: int
    n_bottom_band: int
    bottom_band_seen: bool
    blur_ratio: float = 1.0
    n_glare: int = 0
    apron: tuple[HalfSeen, ...] = ()
    sill: tuple[SillSeen, ...] = ()
    doorstep: tuple[SillSeen, ...] = ()

    @property
    def n_expected(self) -> int:
        """Saddles printed on the sheet."""
        return len(self.sheet.saddles)


def find_sheet(photo: Photo) -> Sighting:
    """Find the marker sheet and all its visible saddles, and the apron if there is one.

    Raises
    ------
    SheetError
        There is no sheet, it is mirrored, there are two, or too little of it can be used.
    """
    tags = find_tags(photo.grey, photo.name)
    if tags.sheet is BOARD:
        raise SheetError(
            f"{photo.name}: this shows the calibration board, which is for 'foldgauge camera'; "
            "stand the marker sheet with the dummy"
        )
    fits, good = _fit_all(photo, tags)
    sill = _find_sill(photo, tags, fits, good)
    if sill:
        above = upright_tags(tags, sill[0].sill)
        sheet = SILL_SHEETS[tags.sheet.paper] if sill[0].sill.has_tick else tags.sheet
        if above is not None and (len(above.ids) < len(tags.ids) or sheet is not tags.sheet):
            tags = replace(above, sheet=sheet)
            fits, good = _fit_all(photo, tags)
        good &= sheet.saddles[:, 1] > sill[0].sill.fold_mm + CLEAR_OF_FOLD_MM
    index = np.flatnonzero(good)
    _require_enough(photo.name, tags, fits, index)
    lowest_mm = sill[0].sill.fold_mm if sill else -np.inf
    refuse_screens(photo.name, photo.grey, tags, fits, index, lowest_mm)
    apron = find_apron(photo.grey, tags)
    sighting = _sighting(photo, tags, fits, index, apron, sill)
    if sill:
        return sighting
    foot = -tags.sheet.paper_mm[1] / 2
    doorstep = find_doorstep(photo.grey, tags, DOORSTEP, _focal(photo), sighting.contrast, foot)
    return replace(sighting, doorstep=doorstep)


def _focal(photo: Photo) -> float:
    """Return the focal length the photo tells, or a usual one, px."""
    return photo.lens.focal_px or USUAL_F35 * float(np.hypot(*photo.size) / np.hypot(36, 24))


def _find_sill(photo: Photo, tags: Tags, fits: SaddleFits, good: NDArray[np.bool_]) -> tuple[SillSeen, ...]:
    """Look for the part of the sheet that is folded forward, at the focal length the photo tells or usual."""
    if tags.sheet is BOARD or not good.any():
        return ()
    focal = _focal(photo)
    contrast = float(np.median(fits.contrast[good]))
    sills = [printed_sill(tags.sheet)]
    if tags.sheet.fold_mm is None:  # what stays upright does not tell whether it was printed with a sill
        sills.append(folded_band(tags.sheet))
    for sill in sills:
        if _stands_unfolded(tags, sill, good):
            continue
        found = find_sill(photo.grey, tags, sill, focal, contrast)
        if found:
            return found
    return ()


def _stands_unfolded(tags: Tags, sill: Sill, good: NDArray[np.bool_]) -> bool:
    """Say whether what lies below the fold line is seen in the plane of the upright sheet."""
    below = tags.sheet.saddles[:, 1] < sill.fold_mm - CLEAR_OF_FOLD_MM
    if sill.has_tick or tags.sheet.fold_mm is not None:
        return bool(np.count_nonzero(np.isin(tags.ids, sill.tag_ids)) >= FEWEST_SILL_TAGS)
    return bool(np.count_nonzero(good & below) > _MOST_UNFOLDED * np.count_nonzero(below))


def find_target(photo: Photo) -> Sighting:
    """Find a sheet or a calibration board, also where it is only partly in the picture.

    Raises
    ------
    SheetError
        There is none, it is mirrored, there are two, or too few of its marks can be used.
    """
    tags = find_tags(photo.grey, photo.name)
    fits, good = _fit_all(photo, tags)
    index = np.flatnonzero(good)
    if len(index) < FEWEST_SADDLES:
        raise SheetError(
            f"{photo.name}: only {len(index)} marks can be measured, {FEWEST_SADDLES} are needed; show more "
            "of the board, sharp and well lit"
        )
    return _sighting(photo, tags, fits, index, (), ())


def _sighting(
    photo: Photo,
    tags: Tags,
    fits: SaddleFits,
    index: NDArray[np.int64],
    apron: tuple[HalfSeen, ...],
    sill: tuple[SillSeen, ...],
) -> Sighting:
    sheet = tags.sheet
    n_bottom = int(np.count_nonzero(sheet.in_bottom_band[index]))
    on_sill = () if sheet.fold_mm is None else printed_sill(sheet).tag_ids
    n_sill_tags = int(np.count_nonzero(np.isin(tags.ids, on_sill)))
    return Sighting(
        sheet=sheet,
        index=index,
        xy_mm=sheet.saddles[index],
        px=fits.px[index],
        sigma_px=fits.sigma_px[index],
        H_img_sheet=tags.H_img_sheet,
        blur_px=float(np.median(fits.blur_px[index])),
        contrast=float(np.median(fits.contrast[index])),
        clipped=float(np.mean(fits.white[index] > 250)),
        n_tags=len(tags.ids),
        n_bottom_band=n_bottom,
        bottom_band_seen=n_bottom >= 3 or n_sill_tags >= FEWEST_SILL_TAGS,
        blur_ratio=blur_ratio(photo.grey, tags.H_img_sheet, fits.px[index], 0.09 * _square_px(tags)),
        n_glare=_count_glare(fits, index),
        apron=apron,
        sill=sill,
    )


def _count_glare(fits: SaddleFits, index: NDArray[np.int64]) -> int:
    """Count the marks that show their pattern but were lost, their black brighter than middle grey."""
    shown = fits.inside & (np.nan_to_num(fits.contrast) > 12) & (np.nan_to_num(fits.misfit, nan=1.0) < 0.2)
    lost = np.setdiff1d(np.flatnonzero(shown), index)
    white, contrast = np.median(fits.white[index]), np.median(fits.contrast[index])
    black = fits.white[lost] - fits.contrast[lost]
    return int(np.count_nonzero((black > white - contrast / 2) & (fits.white[lost] > white - contrast / 4)))


def find_apron(grey: Pixels, tags: Tags) -> tuple[HalfSeen, ...]:
    """Find the halves of the apron by the tags that were read beside the sheet's."""
    found = [_find_half(grey, half, tags) for half in APRON]
    return tuple(half for half in found if half is not None)


def _find_half(grey: Pixels, half: ApronHalf, tags: Tags) -> HalfSeen | None:
    """Fit a half's saddles, first by the homography of its tags, then by that of the saddles found."""
    h = tags_homography(half.tags, tags.other_ids, tags.other_corners_px)
    if h is None:
        return None
    square_px = SQUARE_MM * float(np.sqrt(np.abs(np.linalg.det(h))) / np.abs(h[2, 2]) ** 1.5)
    for _ in range(3):
        fits = fit_saddles(grey, h, half.saddles, apply_h(h, half.saddles), half.saddle_sign, SQUARE_MM)
        good = _acceptable(fits, square_px)
        if np.count_nonzero(good) < FEWEST_APRON_SADDLES or np.ptp(half.saddles[good, 1]) == 0:
            return None
        better = homography(half.saddles[good], fits.px[good])
        if better is None:
            return None
        moved = apply_h(better, half.saddles) - apply_h(h, half.saddles)
        h = better
        if np.abs(moved).max() < 0.05 * square_px:
            break
    return HalfSeen(
        half=half,
        xy_mm=half.saddles[good],
        px=fits.px[good],
        sigma_px=fits.sigma_px[good],
        H_img_apron=h,
    )


def _fit_all(photo: Photo, tags: Tags) -> tuple[SaddleFits, NDArray[np.bool_]]:
    """Fit all saddles; those that failed get a second chance from where their fitted neighbours lie."""
    sheet = tags.sheet
    predicted = tags.predict(sheet.saddles)
    fits = fit_saddles(
        photo.grey, tags.H_img_sheet, sheet.saddles, predicted, sheet.saddle_sign, sheet.square_mm
    )
    good = _acceptable(fits, _square_px(tags))
    if good.all() or np.count_nonzero(good) < 8:
        return fits, good
    lag = fits.px[good] - apply_h(tags.H_img_sheet, sheet.saddles[good])
    better = apply_h(tags.H_img_sheet, sheet.saddles) + nearby_mean(sheet.saddles, sheet.saddles[good], lag)
    moved = ~good & (np.linalg.norm(better - predicted, axis=1) > 0.02 * _square_px(tags))
    if not moved.any():
        return fits, good
    predicted = np.where(moved[:, None], better, predicted)
    fits = fit_saddles(
        photo.grey, tags.H_img_sheet, sheet.saddles, predicted, sheet.saddle_sign, sheet.square_mm
    )
    return fits, _acceptable(fits, _square_px(tags))


def _acceptable(fits: SaddleFits, square_px: float) -> NDArray[np.bool_]:
    """Saddles that look as printed: right polarity, contrast, shape, and near where they should be."""
    limit = _MAX_SHIFT_SQUARES * square_px
    with np.errstate(invalid="ignore"):
        good = (
            fits.inside
            & (fits.contrast > 12)
            & (fits.misfit < _WORST_MISFIT)
            & (fits.sigma_px < _MAX_SIGMA_PX)
            & (fits.shift_px < limit)
        )
        if good.any():
            usual = float(np.median(fits.misfit[good]))  # noise, mostly
            good &= fits.misfit < np.clip(3 * usual, 0.03, max(_MAX_MISFIT, 1.6 * usual))
        if good.any():
            good &= fits.contrast > 0.25 * np.median(fits.contrast[good])
            good &= fits.blur_px < 2.5 * np.median(fits.blur_px[good]) + 0.5
    return good


def _square_px(tags: Tags) -> float:
    """Side of a checkerboard square in pixels."""
    sides = np.linalg.norm(tags.corners_px - np.roll(tags.corners_px, 1, axis=1), axis=2)
    return float(np.median(sides)) / 0.8


def _require_enough(name: str, tags: Tags, fits: SaddleFits, index: NDArray[np.int64]) -> None:
    """Refuse what cannot carry a measurement, saying how much was seen."""
    sheet = tags.sheet
    total = len(sheet.saddles)
    seen = f"{len(index)} of the {total} marks of the {sheet.paper} sheet"
    if len(index) < FEWEST_SADDLES:
        if len(tags.ids) > len(index) and np.count_nonzero(fits.inside) >= FEWEST_SADDLES:
            raise SheetError(
                f"{name}: only {seen} can be measured, though {len(tags.ids)} of its tags were read; "
                "the photo is too blurred, glaring or dark: focus on the sheet, light it softly"
            )
        raise SheetError(
            f"{name}: only {seen} are seen, {FEWEST_SADDLES} are needed; show the whole ring of the sheet"
        )
    span = np.ptp(sheet.saddles[index], axis=0) / np.ptp(sheet.saddles, axis=0)
    if span[0] < MIN_SPAN_ACROSS or span[1] < MIN_SPAN_UP:
        raise SheetError(
            f"{name}: only part of the sheet is in view ({seen}, spanning {100 * span[0]:.0f} % of its width "
            f"and {100 * span[1]:.0f} % of its height); show the whole ring of the sheet"
        )
