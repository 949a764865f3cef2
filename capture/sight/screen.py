"""Finding out what is no photo of a print: a screenshot of the sheet, or the sheet shown on a screen.

White paper in a photo is noise without a period (JPEG's own 8 x 8 blocks left out): its spectrum has no line
far above the rest. A screen's pixel grid, or its beat with the camera's pixels, is one sharp line.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels
from capture.errors import SheetError
from capture.sheet.marker_sheet import MarkerSheet
from capture.sight.saddles import SaddleFits
from capture.sight.tags import Tags, apply_h


@dataclass(frozen=True, slots=True)
class ScreenNumbers:
    """What gives a screen or a drawing away.

    Attributes
    ----------
    line_over_median : strongest line of the spectrum over its median. On 20 rendered photos of paper 6 to
        155; on drawn screens of 0.1 to 0.28 mm pitch from 0.5 and 0.7 m, 1400 and more.
    ink_black : grey levels; drawn_misfit : share of the contrast; drawn_blur_px : only a drawing has marks
        that are blacker, cleaner and sharper than all three.
    least_levels : grey levels of noise that a block of paper must show to say anything.
    block_px, fewest_blocks : size of the blocks whose spectra are added up, and how many there must be.
    clear_mm : how far a block keeps from the print.
    least_frequency : cycles per pixel: slower changes are light and shadow.
    """

    line_over_median: float = 600.0
    ink_black: float = 6.0
    drawn_misfit: float = 0.03
    drawn_blur_px: float = 0.6
    least_levels: float = 3.0
    block_px: int = 32
    fewest_blocks: int = 8
    clear_mm: float = 1.2
    least_frequency: float = 0.12


SCREEN: Final = ScreenNumbers()


def refuse_screens(
    name: str,
    grey: Pixels,
    tags: Tags,
    fits: SaddleFits,
    index: NDArray[np.int64],
    lowest_mm: float = -np.inf,
) -> None:
    """Refuse a picture of the sheet that no printed sheet was before.

    Parameters
    ----------
    name : of the photo. grey : (H, W) photo. tags : the sheet and its homography.
    fits, index : all saddle fits, and which are good.
    lowest_mm : height below which the sheet is folded away.

    Raises
    ------
    SheetError
    """
    black = fits.white[index] - fits.contrast[index]
    # No lens gives full black beside full white, sharp and without noise.
    if (
        np.median(black) < SCREEN.ink_black
        and np.median(fits.white[index]) > 255 - SCREEN.ink_black
        and np.median(fits.misfit[index]) < SCREEN.drawn_misfit
        and np.median(fits.blur_px[index]) < SCREEN.drawn_blur_px
    ):
        raise SheetError(
            f"{name}: this is the sheet itself, a screenshot or a page of its PDF, not a photo of the print; "
            "print it, stand it with the dummy and photograph both"
        )
    if shows_screen(grey, tags.sheet, tags.H_img_sheet, lowest_mm):
        raise SheetError(
            f"{name}: the sheet is shown on a screen (its pixel grid is seen in the white margin), where no "
            "length is true; print the sheet and photograph that"
        )


def shows_screen(grey: Pixels, sheet: MarkerSheet, h: Array, lowest_mm: float = -np.inf) -> bool:
    """Say whether the white margin right of the ring shows a pixel grid.

    Parameters
    ----------
    grey : (H, W) photo. sheet : the sheet seen. h : (3, 3) homography, pixels <- nominal mm.
    lowest_mm : height below which the sheet is folded away.

    Returns
    -------
    bool
        False also where the margin is too small in the picture to tell.
    """
    blocks = _margin_blocks(grey, sheet, h, lowest_mm)
    if len(blocks) < SCREEN.fewest_blocks:
        return False
    flat = np.stack([b - cv2.GaussianBlur(b, (0, 0), 3) for b in blocks])
    window = np.hanning(SCREEN.block_px)[:, None] * np.hanning(SCREEN.block_px)
    power = np.mean(np.abs(np.fft.fft2(flat * window)) ** 2, axis=0)[_considered()]
    levels = 8 * float(np.sqrt(power.max())) / SCREEN.block_px**2  # amplitude of a wave under a Hann window
    return bool(power.max() > SCREEN.line_over_median * np.median(power) and levels > SCREEN.least_levels)


def _margin_blocks(grey: Pixels, sheet: MarkerSheet, h: Array, lowest_mm: float) -> list[Array]:
    """Square blocks along the middle of the right margin; none if they would not fit into it."""
    left, right = sheet.ring[2] + SCREEN.clear_mm, sheet.paper_mm[0] / 2 - SCREEN.clear_mm
    bottom, top = max(sheet.ring[1], lowest_mm) + 10, sheet.ring[3] - 10
    rim = apply_h(h, np.array([[left, 0.0], [right, 0.0]]))
    if np.linalg.norm(rim[1] - rim[0]) < SCREEN.block_px:
        return []
    middles = apply_h(h, np.array([[(left + right) / 2, y] for y in np.arange(bottom, top, 2.0)]))
    out = []
    for col, row in np.rint(middles).astype(int) - SCREEN.block_px // 2:
        block = grey[max(row, 0) : row + SCREEN.block_px, max(col, 0) : col + SCREEN.block_px]
        if block.shape == (SCREEN.block_px, SCREEN.block_px):
            out.append(block.astype(float))
    return out


def _considered() -> NDArray[np.bool_]:
    """Frequencies (n, n) that neither light nor JPEG's blocks make."""
    fx, fy = np.abs(np.meshgrid(*[np.fft.fftfreq(SCREEN.block_px)] * 2))
    use: NDArray[np.bool_] = np.hypot(fx, fy) > SCREEN.least_frequency
    for along, across in ((fx, fy), (fy, fx)):
        on_grid = np.abs(along * 8 - np.rint(along * 8)) < 0.16
        use &= ~(on_grid & (across < 0.02))
    return use
