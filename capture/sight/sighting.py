"""Finding the marker sheet: its saddles in pixels, with uncertainty, matched with sheet millimetres."""

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.errors import SheetError
from capture.lens_hint import USUAL_F35
from capture.photo import Photo
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.sill import CLEAR_OF_FOLD_MM, DOORSTEP, SILL_SHEETS, Sill, folded_band, printed_sill
from capture.sight.apron_sight import HalfSeen, find_apron
from capture.sight.saddles import SaddleFits
from capture.sight.screen import refuse_screens
from capture.sight.shake import blur_ratio
from capture.sight.sheet_saddles import count_glare, fit_all, square_px_of
from capture.sight.sill_sight import SillSeen, find_doorstep, find_sill, upright_tags
from capture.sight.tags import Tags, find_tags


@dataclass(frozen=True, slots=True)
class EnoughNumbers:
    """How much of a sheet must be seen; common practice, no source.

    Attributes
    ----------
    saddles : fewer cannot carry pose, focal length and distortion with anything left to check them.
    span_across, span_up : shares of the ring that the saddles must span, or the plane is extrapolated and not
        measured.
    sill_tags : so many tags of the sill in the plane of the upright sheet: it is not folded.
    unfolded : where more than this share of the marks below the fold are seen as on a flat sheet, it is not
        folded.
    bottom_marks : so many marks of the bottom band, no fewer, prove that it was not cut off.
    burnt_white : grey level of white from which on it counts as burnt out.
    shake_reach : half width of the edges whose blur is compared, as a share of the square.
    """

    saddles: int = 16
    span_across: float = 0.7
    span_up: float = 0.35
    sill_tags: int = 2
    unfolded: float = 0.2
    bottom_marks: int = 3
    burnt_white: float = 250.0
    shake_reach: float = 0.09


ENOUGH: Final = EnoughNumbers()


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
    fits, good = fit_all(photo, tags)
    sill = _find_sill(photo, tags, fits, good)
    if sill:
        above = upright_tags(tags, sill[0].sill)
        sheet = SILL_SHEETS[tags.sheet.paper] if sill[0].sill.has_tick else tags.sheet
        if above is not None and (len(above.ids) < len(tags.ids) or sheet is not tags.sheet):
            tags = replace(above, sheet=sheet)
            fits, good = fit_all(photo, tags)
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
        return bool(np.count_nonzero(np.isin(tags.ids, sill.tag_ids)) >= ENOUGH.sill_tags)
    return bool(np.count_nonzero(good & below) > ENOUGH.unfolded * np.count_nonzero(below))


def find_target(photo: Photo) -> Sighting:
    """Find a sheet or a calibration board, also where it is only partly in the picture.

    Raises
    ------
    SheetError
        There is none, it is mirrored, there are two, or too few of its marks can be used.
    """
    tags = find_tags(photo.grey, photo.name)
    fits, good = fit_all(photo, tags)
    index = np.flatnonzero(good)
    if len(index) < ENOUGH.saddles:
        raise SheetError(
            f"{photo.name}: only {len(index)} marks can be measured, {ENOUGH.saddles} are needed; show more "
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
    reach_px = ENOUGH.shake_reach * square_px_of(tags)
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
        clipped=float(np.mean(fits.white[index] > ENOUGH.burnt_white)),
        n_tags=len(tags.ids),
        n_bottom_band=n_bottom,
        bottom_band_seen=n_bottom >= ENOUGH.bottom_marks or n_sill_tags >= ENOUGH.sill_tags,
        blur_ratio=blur_ratio(photo.grey, tags.H_img_sheet, fits.px[index], reach_px),
        n_glare=count_glare(fits, index),
        apron=apron,
        sill=sill,
    )


def _require_enough(name: str, tags: Tags, fits: SaddleFits, index: NDArray[np.int64]) -> None:
    """Refuse what cannot carry a measurement, saying how much was seen."""
    sheet = tags.sheet
    total = len(sheet.saddles)
    seen = f"{len(index)} of the {total} marks of the {sheet.paper} sheet"
    if len(index) < ENOUGH.saddles:
        if len(tags.ids) > len(index) and np.count_nonzero(fits.inside) >= ENOUGH.saddles:
            raise SheetError(
                f"{name}: only {seen} can be measured, though {len(tags.ids)} of its tags were read; "
                "the photo is too blurred, glaring or dark: focus on the sheet, light it softly"
            )
        raise SheetError(
            f"{name}: only {seen} are seen, {ENOUGH.saddles} are needed; show the whole ring of the sheet"
        )
    span = np.ptp(sheet.saddles[index], axis=0) / np.ptp(sheet.saddles, axis=0)
    if span[0] < ENOUGH.span_across or span[1] < ENOUGH.span_up:
        raise SheetError(
            f"{name}: only part of the sheet is in view ({seen}, spanning {100 * span[0]:.0f} % of its width "
            f"and {100 * span[1]:.0f} % of its height); show the whole ring of the sheet"
        )
