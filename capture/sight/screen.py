"""Finding out what is no photo of a print: a screenshot of the sheet, or the sheet shown on a screen.

White paper in a photo is noise without a period (JPEG's own 8 x 8 blocks left out): its spectrum has no line
far above the rest. A screen's pixel grid, or its beat with the camera's pixels, is one sharp line.
"""

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels
from capture.errors import SheetError
from capture.sheet.marker_sheet import MarkerSheet
from capture.sight.saddles import SaddleFits
from capture.sight.tags import Tags, apply_h

LINE_OVER_MEDIAN: Final = 600.0
"""Strongest line of the spectrum over its median. On 20 rendered photos of paper 6 to 155; on drawn screens
of 0.1 to 0.28 mm pitch from 0.5 and 0.7 m, 1400 and more."""

_INK_BLACK: Final = 6.0
_DRAWN_MISFIT: Final = 0.03
_DRAWN_BLUR_PX: Final = 0.6
"""Grey levels, share of the contrast, px: only a drawing has such marks."""

_LEAST_LEVELS: Final = 3.0
_BLOCK_PX: Final = 32
_FEWEST_BLOCKS: Final = 8
_CLEAR_MM: Final = 1.2
_LEAST_FREQUENCY: Final = 0.12  # cycles per pixel: slower changes are light and shadow


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
    if (
        np.median(black) < _INK_BLACK  # no lens gives full black beside full white, sharp and without noise
        and np.median(fits.white[index]) > 255 - _INK_BLACK
        and np.median(fits.misfit[index]) < _DRAWN_MISFIT
        and np.median(fits.blur_px[index]) < _DRAWN_BLUR_PX
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
    if len(blocks) < _FEWEST_BLOCKS:
        return False
    flat = np.stack([b - cv2.GaussianBlur(b, (0, 0), 3) for b in blocks])
    window = np.hanning(_BLOCK_PX)[:, None] * np.hanning(_BLOCK_PX)
    power = np.mean(np.abs(np.fft.fft2(flat * window)) ** 2, axis=0)[_considered()]
    levels = 8 * float(np.sqrt(power.max())) / _BLOCK_PX**2  # amplitude of a wave under a Hann window
    return bool(power.max() > LINE_OVER_MEDIAN * np.median(power) and levels > _LEAST_LEVELS)


def _margin_blocks(grey: Pixels, sheet: MarkerSheet, h: Array, lowest_mm: float) -> list[Array]:
    """Square blocks along the middle of the right margin; none if they would not fit into it."""
    left, right = sheet.ring[2] + _CLEAR_MM, sheet.paper_mm[0] / 2 - _CLEAR_MM
    bottom, top = max(sheet.ring[1], lowest_mm) + 10, sheet.ring[3] - 10
    rim = apply_h(h, np.array([[left, 0.0], [right, 0.0]]))
    if np.linalg.norm(rim[1] - rim[0]) < _BLOCK_PX:
        return []
    middles = apply_h(h, np.array([[(left + right) / 2, y] for y in np.arange(bottom, top, 2.0)]))
    out = []
    for col, row in np.rint(middles).astype(int) - _BLOCK_PX // 2:
        block = grey[max(row, 0) : row + _BLOCK_PX, max(col, 0) : col + _BLOCK_PX]
        if block.shape == (_BLOCK_PX, _BLOCK_PX):
            out.append(block.astype(float))
    return out


def _considered() -> NDArray[np.bool_]:
    """Frequencies (n, n) that neither light nor JPEG's blocks make."""
    fx, fy = np.abs(np.meshgrid(*[np.fft.fftfreq(_BLOCK_PX)] * 2))
    use: NDArray[np.bool_] = np.hypot(fx, fy) > _LEAST_FREQUENCY
    for along, across in ((fx, fy), (fy, fx)):
        on_grid = np.abs(along * 8 - np.rint(along * 8)) < 0.16
        use &= ~(on_grid & (across < 0.02))
    return use
