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

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

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


Edges = NDArray[np.float32]
"""Differences (n, W - 1) from pixel to pixel along rows, or what is made of them."""

BAND: Final = 64
"""Rows of blocks that are compared at once: little memory, whatever the size of the photo."""

SEAM: Final = SeamNumbers()
SLIP: Final = SlipNumbers()


class JpegDamageError(ValueError):
    """The picture data of a JPEG file are disturbed."""


def decode_whole(data: bytes) -> Pixels:
    """Decode a JPEG once, strictly.

    Parameters
    ----------
    data : a grey or colour JPEG file (CMYK is another matter: `require_whole`).

    Returns
    -------
    (H, W, 3) blue green red, as stored (not turned upright).

    Raises
    ------
    JpegDamageError : its picture data are disturbed.
    ValueError : it cannot be decoded at all.
    """
    bgr = _strictly(data, "BGR")
    if bgr is None:  # a sampling of the colours that the strict decoder has no name for
        decoded = cv2.imdecode(
            np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
        )
        if decoded is None:
            raise ValueError("not decodable")
        bgr = np.asarray(decoded, dtype=np.uint8)
    require_undisturbed(np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), dtype=np.uint8))
    return bgr


def require_whole(data: bytes) -> None:
    """Refuse a CMYK JPEG whose coded data end too early or too late (an eighth of its size is decoded).

    Raises
    ------
    JpegDamageError : they do.
    """
    _strictly(data, "CMYK", min_factor=BLOCK)


def require_undisturbed(grey: Pixels) -> None:
    """Refuse a picture that changes its tone or stands aside from some row of blocks on.

    Parameters
    ----------
    grey : (H, W), as stored.

    Raises
    ------
    JpegDamageError : it does.
    """
    if has_seam(grey) or has_slipped(grey):
        raise JpegDamageError("the picture breaks at its blocks")


def _strictly(data: bytes, colours: str, min_factor: float = 1) -> Pixels | None:
    """Decode a JPEG so that what other decoders mend is an error; None: not this decoder's kind."""
    try:
        simplejpeg.decode_jpeg_header(data)
    except ValueError:
        return None
    try:
        return _by_simplejpeg(data, colours, min_factor, strict=True)
    except ValueError as err:
        if not any(word in str(err) for word in HARMLESS):
            raise JpegDamageError(str(err)) from None
    return _by_simplejpeg(data, colours, min_factor, strict=False)


def _by_simplejpeg(data: bytes, colours: str, min_factor: float, *, strict: bool) -> Pixels:
    picture: Pixels = simplejpeg.decode_jpeg(data, colorspace=colours, min_factor=min_factor, strict=strict)
    return picture


def has_seam(grey: Pixels, least_step: float = SEAM.least_step) -> bool:
    """Return whether a step of tone between two rows of blocks goes all across.

    Parameters
    ----------
    grey : (H, W), as stored (not turned upright): the raster of the blocks begins at its corner.
    least_step : grey levels.
    """
    height, width = grey.shape
    if height < 4 * BLOCK or width < 4 * BLOCK:
        return False
    edge = np.arange(BLOCK, height - 2, BLOCK)
    over, above, below, under = (_tones_of_blocks(grey[edge + down]) for down in (-2, -1, 0, 1))
    before, after = above - over, under - below
    # What the tone does anyway beside the seam is no step; and an edge of the scene is not so sharp.
    step = below - above - 0.5 * (before + after)
    soft = np.maximum(np.abs(before), np.abs(after)) > SEAM.sharp * np.abs(below - above) + SEAM.noise
    step = np.where(soft, 0.0, step)
    low, high = SEAM.rails
    clipped = (np.maximum(above, below) < low) | (np.minimum(above, below) > high)
    known = _counted(~clipped)
    places = np.linspace(0, step.shape[1], SEAM.places, endpoint=False).astype(int)
    for sign in (1, -1):
        stepped = _counted((sign * step >= least_step) & ~clipped)
        # In a row of units are one or two blocks: the step drops by so many where the disturbed piece begins.
        for down in (1, 2):
            n_known, n_stepped = (_along(count, down, places) for count in (known, stepped))
            enough = n_known >= SEAM.least_columns * step.shape[1]
            if np.any(enough & (n_known - n_stepped <= (SEAM.share * n_known).astype(int))):
                return True
    return False


def _tones_of_blocks(rows: Pixels) -> Array:
    """Mean tone (n, blocks) of each block's columns in rows (n, W): less noise, and no less to see."""
    whole = rows[:, : rows.shape[1] // BLOCK * BLOCK].astype(np.uint16)
    total = np.zeros((len(rows), whole.shape[1] // BLOCK), np.uint16)
    for column in range(BLOCK):
        total += whole[:, column::BLOCK]
    return total.astype(np.float64) / BLOCK


def _counted(yes: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many are true (n, m + 1) left of each place."""
    return np.pad(np.cumsum(yes, axis=1), ((0, 0), (1, 0)))


def _along(count: NDArray[np.int64], down: int, places: NDArray[np.int64]) -> NDArray[np.int64]:
    """How many are true (n, places) along a row that stands `down` rows lower left of each place."""
    upper, lower = count[:-down], count[down:]
    return lower[:, places] + upper[:, -1:] - upper[:, places]


def has_slipped(grey: Pixels) -> bool:
    """Return whether from some row of blocks on the picture stands aside by whole blocks.

    Parameters
    ----------
    grey : (H, W), as stored.
    """
    height, width = grey.shape
    if height < 4 * BLOCK or width < 4 * BLOCK:
        return False
    edges = np.arange(BLOCK, height - 1, BLOCK)
    return any(_slips(grey, edges[i : i + BAND]) for i in range(0, len(edges), BAND))


def _slips(grey: Pixels, below: NDArray[np.int64]) -> bool:
    """Return whether at one of these rows of pixels what lies below stands aside from what lies above."""
    width = grey.shape[1]
    a, b = (np.diff(grey[rows].astype(np.float32), axis=1) for rows in (below - 1, below))
    size = np.sqrt(np.einsum("ij,ij->i", a, a) * np.einsum("ij,ij->i", b, b)) + 1e-9
    in_place = (
        np.max([_alike(a, b, aside) for aside in range(-SLIP.near_px, SLIP.near_px + 1)], axis=0) / size
    )
    # what has slipped is more alike aside than in place; an edge between two repeating patterns is not
    may = in_place < SLIP.most_in_place
    if not may.any():
        return False
    n = next_fast_len(2 * width - 1, real=True)
    a, b, in_place, size = a[may], b[may], in_place[may], size[may]
    alike = irfft(np.conj(rfft(a, n, axis=1)) * rfft(b, n, axis=1), n, axis=1) / size[:, None]
    aside = np.arange(BLOCK, width // 2, BLOCK)
    off = np.maximum(alike[:, aside].max(axis=1), alike[:, -aside].max(axis=1))
    return bool(np.any(off > np.maximum(SLIP.least_aside, in_place)))


def _alike(a: Edges, b: Edges, aside: int) -> Edges:
    """Sum (n,) of the products of the rows of a with those of b that many columns to the right."""
    m = a.shape[1] - abs(aside)
    first, second = max(-aside, 0), max(aside, 0)
    out: Edges = np.einsum("ij,ij->i", a[:, first : first + m], b[:, second : second + m])
    return out
