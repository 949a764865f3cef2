"""Finding the apron: its two halves beside the sheet, by their tags and then by their saddles."""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capture.arrays import Array, Pixels
from capture.sheet.apron import APRON, SQUARE_MM, ApronHalf
from capture.sight.saddles import fit_saddles
from capture.sight.sheet_saddles import acceptable
from capture.sight.tags import Tags, apply_h, homography, tags_homography


@dataclass(frozen=True, slots=True)
class ApronNumbers:
    """How a half of the apron is found; judged on drawn aprons, near and far.

    Attributes
    ----------
    fewest_saddles : fewer do not fix the plane of a half.
    rounds : its saddles are fitted at most so often, each time from where the last round puts them.
    settled : largest move between two rounds after which it is settled, as a share of the square.
    """

    fewest_saddles: int = 6
    rounds: int = 3
    settled: float = 0.05


APRON_NUMBERS: Final = ApronNumbers()


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
    for _ in range(APRON_NUMBERS.rounds):
        fits = fit_saddles(grey, h, half.saddles, apply_h(h, half.saddles), half.saddle_sign, SQUARE_MM)
        good = acceptable(fits, square_px)
        if np.count_nonzero(good) < APRON_NUMBERS.fewest_saddles or np.ptp(half.saddles[good, 1]) == 0:
            return None
        better = homography(half.saddles[good], fits.px[good])
        if better is None:
            return None
        moved = apply_h(better, half.saddles) - apply_h(h, half.saddles)
        h = better
        if np.abs(moved).max() < APRON_NUMBERS.settled * square_px:
            break
    return HalfSeen(
        half=half,
        xy_mm=half.saddles[good],
        px=fits.px[good],
        sigma_px=fits.sigma_px[good],
        H_img_apron=h,
    )
