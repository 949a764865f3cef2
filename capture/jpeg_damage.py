"""Whether a JPEG's picture data are whole: a photo with a part lost or mixed up still looks like one.

Decoders mend what they can and go on: after a lost or swapped piece, blocks stand in the wrong place or in
the wrong tone, and a panel may be "measured" in them. Three questions find such files:

- Did the decoder have to mend anything? Entropy-coded data that were disturbed nearly always end too early
  or too late.
- Does the picture change its tone in the middle, at the raster of its blocks? Tone is coded as differences
  from block to block (ITU-T T.81 (1992), F.1.1.5.1), so a disturbed piece shifts everything after it: a step
  between two rows of blocks all across the picture, as no edge in a scene makes it.
- Does everything stand aside by whole blocks from some row of blocks on? A piece that was decoded as fewer or
  more blocks moves all that follows.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import simplejpeg

from capture.arrays import Array, Pixels

HARMLESS: Final = ("Invalid SOS parameters", "Adobe", "JFIF")
"""Complaints of the decoder about headers of sloppy writers; the picture data are whole."""

BLOCK: Final = 8
"""Pixels of a block (T.81, A.3.1); with halved colour the tone steps at every second one."""


@dataclass(frozen=True, slots=True)
class SeamNumbers:
    """How a step of tone between two rows of blocks is told from an edge of the scene.

    Found on the sample photos and the photographs of real spreads (in none of them a step of even 0.1 levels
    goes across), whole and with pieces of their scan zeroed, swapped or flipped.

    Attributes
    ----------
    share : share of the columns that may not show the step (an edge or clutter there).
    least_step : grey levels.
    rails : grey values (low, high): where both sides lie beyond one of them a column says nothing, for
        clipped tones cannot step.
    least_columns : share of the columns that must say something.
    sharp, noise : the tone beside the seam changes by no more than this share of the step, and these levels;
        an edge of the scene, blurred by half a pixel or more, changes by more than a quarter of its step.
    places : at how many places along a row of blocks the step is looked for.
    """

    share: float = 0.3
    least_step: float = 2.0
    rails: tuple[float, float] = (2.0, 253.0)
    least_columns: float = 0.25
    sharp: float = 0.2
    noise: float = 1.5
    places: int = 16


@dataclass(frozen=True, slots=True)
class SlipNumbers:
    """How two rows of pixels are told to stand aside by whole blocks; found as `SeamNumbers`.

    Attributes
    ----------
    most_in_place : correlation of the rows' edges where they stand; lower where one has slipped. In whole
        photos it is above 0.66 wherever the next number is above 0.27.
    least_aside : correlation a whole number of blocks aside. The sheet's marks repeat, so that in whole
        photos, too, it reaches 0.43.
    near_px : how far edges may run from one row to the next.
    """

    most_in_place: float = 0.6
    least_aside: float = 0.3
    near_px: int = 3


SEAM: Final = SeamNumbers()
SLIP: Final = SlipNumbers()


def is_damaged(data: bytes) -> bool:
    """Return whether the picture data of a JPEG file are disturbed.

    Raises
    ------
    ValueError : it cannot be decoded at all.
    """
    try:
        grey = _decoded(data, strict=True)
    except ValueError as err:
        if not any(word in str(err) for word in HARMLESS):
            return True
        grey = _decoded(data, strict=False)
    return largest_seam(grey) >= SEAM.least_step or has_slipped(grey)


def _decoded(data: bytes, strict: bool) -> Pixels:
    *_, colours, _ = simplejpeg.decode_jpeg_header(data)
    kind = "CMYK" if colours in ("CMYK", "YCCK") else "GRAY"
    picture: Pixels = simplejpeg.decode_jpeg(data, colorspace=kind, strict=strict)[:, :, 0]
    return picture


def largest_seam(grey: Pixels) -> float:
    """Return the largest step of tone between two rows of blocks that goes all across, in grey levels.

    Parameters
    ----------
    grey : (H, W), as stored (not turned upright): the raster of the blocks begins at its corner.
    """
    height, width = grey.shape
    if height < 4 * BLOCK or width < 4 * BLOCK:
        return 0.0
    # Eight columns together, each block's own: less noise, and no less to see.
    rows = grey[:, : width // BLOCK * BLOCK].reshape(height, -1, BLOCK).mean(axis=2, dtype=np.float32)
    edge = np.arange(BLOCK, height - 2, BLOCK)
    above, below = rows[edge - 1], rows[edge]
    before, after = above - rows[edge - 2], rows[edge + 1] - below
    # What the tone does anyway beside the seam is no step; and an edge of the scene is not so sharp.
    step = below - above - 0.5 * (before + after)
    soft = np.maximum(np.abs(before), np.abs(after)) > SEAM.sharp * np.abs(below - above) + SEAM.noise
    step = np.where(soft, 0.0, step)
    low, high = SEAM.rails
    clipped = (np.maximum(above, below) < low) | (np.minimum(above, below) > high)
    step = np.where(clipped, np.nan, step).astype(np.float64)
    largest = 0.0
    for down in (
        1,
        2,
    ):  # blocks in a row of units: the step drops by so many where the disturbed piece begins
        for at in np.linspace(0, step.shape[1], SEAM.places, endpoint=False).astype(int):
            along = np.hstack([step[down:, :at], step[:-down, at:]])
            largest = max(largest, float(_shared(along).max(initial=0.0)))
    return largest


def has_slipped(grey: Pixels) -> bool:
    """Return whether from some row of blocks on the picture stands aside by whole blocks.

    Parameters
    ----------
    grey : (H, W), as stored.
    """
    height, width = grey.shape
    if height < 4 * BLOCK or width < 4 * BLOCK:
        return False
    below = np.arange(BLOCK, height - 1, BLOCK)
    a, b = (np.diff(grey[rows].astype(np.float32), axis=1) for rows in (below - 1, below))
    n = 1 << (2 * width - 1).bit_length()
    alike = np.fft.irfft(np.conj(np.fft.rfft(a, n, axis=1)) * np.fft.rfft(b, n, axis=1), n, axis=1)
    alike /= np.sqrt((a**2).sum(axis=1) * (b**2).sum(axis=1))[:, None] + 1e-9
    near = np.arange(-SLIP.near_px, SLIP.near_px + 1)
    aside = np.arange(BLOCK, width // 2, BLOCK)
    in_place = alike[:, near].max(axis=1)
    off = np.maximum(alike[:, aside].max(axis=1), alike[:, -aside].max(axis=1))
    # what has slipped is more alike aside than in place; an edge between two repeating patterns is not
    return bool(np.any((in_place < SLIP.most_in_place) & (off > np.maximum(SLIP.least_aside, in_place))))


def _shared(step: Array) -> Array:
    """Size (n,) of the step that all but a share of the columns of each row (n, m) show, with one sign."""
    step = np.sort(step, axis=1)  # nan last
    known = np.count_nonzero(np.isfinite(step), axis=1)
    row = np.arange(len(step))
    few = (SEAM.share * known).astype(int)
    up = step[row, few]
    down = -step[row, np.maximum(known - 1 - few, 0)]
    out: Array = np.maximum(np.maximum(up, down), 0.0)
    return np.where(known >= SEAM.least_columns * step.shape[1], np.nan_to_num(out), 0.0)
