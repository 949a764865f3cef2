"""Finding the sill: the part of the sheet that lies on the page and is seen at a low angle.

The upright sheet says where a sill folded at its line would be seen. That place is straightened, as if looked
at from above; its tags are read there, and its saddles are fitted in the photo itself.
"""

from dataclasses import dataclass, field, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels
from capture.sheet.sill import Sill, SillPart
from capture.sight.rough_pose import camera_matrix, folded_homography, pose_of
from capture.sight.saddles import SaddleFits, fit_saddles
from capture.sight.tags import Tags, apply_h, detect_tags, homography, nearby_mean, tags_homography


@dataclass(frozen=True, slots=True)
class SillNumbers:
    """How a sill or a doorstep is looked for; judged on folded sheets drawn and rendered (`bench_sill.py`).

    Attributes
    ----------
    most_px_per_mm : how finely the place is straightened.
    around_mm : what is straightened reaches this far beyond the pattern: the fold is made by hand, and may
        spring up.
    fewest_saddles, least_share : fewer than these, or than this share of those printed, do not fix a sill.
    shifts_mm : places tried across the line of sight: the fold is made by hand, the sill may spring up.
    least_like_pattern : share of the saddles that must show black and white where they should, before they
        are fitted.
    look_at, look_at_plain : distance of those four points from the saddle, as a share of the cell; the second
        where no tags are.
    farthest_doorstep_mm, doorstep_aside_mm, doorstep_px_per_mm : where a doorstep is looked for, up to so far
        before the sheet and aside of its middle, and how finely.
    worst_misfit, most_sigma_px, most_shift_cells, most_shift_px : of a saddle that counts: residual as a
        share of the contrast; standard uncertainty; distance from where it should be.
    enough_for_own, most_moved_px : share of a piece's saddles from which its place is worked out anew, and
        how far it may move then.
    least_contrast : of the upright sheet's: a sill lies in another light.
    """

    most_px_per_mm: float = 8.0
    around_mm: float = 8.0
    fewest_saddles: int = 8
    least_share: float = 1 / 3
    shifts_mm: tuple[float, ...] = tuple(np.arange(-2.0, 2.01, 0.1))
    least_like_pattern: float = 0.7
    look_at: float = 0.1
    look_at_plain: float = 0.3
    farthest_doorstep_mm: float = 260.0
    doorstep_aside_mm: float = 40.0
    doorstep_px_per_mm: float = 4.0
    worst_misfit: float = 0.35
    most_sigma_px: float = 0.6
    most_shift_cells: float = 0.2
    most_shift_px: float = 4.0
    enough_for_own: float = 0.6
    most_moved_px: float = 10.0
    least_contrast: float = 0.2


SILL: Final = SillNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SillSeen:
    """One piece of the sill as seen in one photo.

    Attributes
    ----------
    sill, part : what was printed.
    xy_mm : (M, 2) marks that were seen, on the flat paper, nominal mm.
    px : (M, 2) their places in the photo.
    sigma_px : (M,) standard uncertainty per axis.
    H_img_paper : (3, 3) homography, pixels <- flat paper mm, of the piece as it lies.
    """

    sill: Sill
    part: SillPart
    xy_mm: Array = field(repr=False)
    px: Array = field(repr=False)
    sigma_px: Array = field(repr=False)
    H_img_paper: Array = field(repr=False)


def find_sill(grey: Pixels, tags: Tags, sill: Sill, focal_px: float, contrast: float) -> tuple[SillSeen, ...]:
    """Find the pieces of a sill that lie folded forward; empty if none does.

    Parameters
    ----------
    grey : (H, W) photo. tags : those of the upright sheet. sill : where its marks are.
    focal_px : about the focal length. contrast : of the upright sheet's marks, grey levels.
    """
    above = upright_tags(tags, sill)
    if above is None:
        return ()
    size = np.array([grey.shape[1], grey.shape[0]], dtype=float)
    matrix = camera_matrix(focal_px, (size - 1) / 2)
    h = folded_homography(pose_of(above.H_img_sheet, matrix), matrix, sill.fold_mm)
    found = [_find_part(grey, h, sill, part, contrast) for part in sill.parts]
    return tuple(seen for seen in found if seen is not None)


def find_doorstep(
    grey: Pixels, tags: Tags, doorstep: Sill, focal_px: float, contrast: float, foot_mm: float
) -> tuple[SillSeen, ...]:
    """Find the halves of a doorstep before the sheet; empty if there is none.

    Parameters
    ----------
    grey, tags, focal_px, contrast : as for `find_sill`. doorstep : its marks.
    foot_mm : height of the sheet's foot: the page lies about as high.
    """
    size = np.array([grey.shape[1], grey.shape[0]], dtype=float)
    matrix = camera_matrix(focal_px, (size - 1) / 2)
    # The plane the sheet stands on, its y counted from the sheet toward the camera, negative.
    h = folded_homography(pose_of(tags.H_img_sheet, matrix), matrix, foot_mm)
    h = h @ np.array([[1, 0, 0], [0, 1, foot_mm], [0, 0, 1.0]])
    reach = max(abs(x) for part in doorstep.parts for x in part.span_mm) + SILL.doorstep_aside_mm
    low, high = np.array([-reach, -SILL.farthest_doorstep_mm]), np.array([reach, 0.0])
    ids, corners = _tags_seen_from_above(grey, h, low, high, SILL.doorstep_px_per_mm)
    if not ids:
        return ()
    found = []
    for part in doorstep.parts:
        start = tags_homography(part.tags, np.array(ids, dtype=np.int64), corners)
        seen = None if start is None else _seen_from(grey, start, doorstep, part, contrast)
        if seen is not None:
            found.append(seen)
    return tuple(found)


def upright_tags(tags: Tags, sill: Sill) -> Tags | None:
    """Return the tags above the fold alone, with their own homography; None if they are too few."""
    above = np.array([tags.sheet.tags[int(i)][:, 1].min() > sill.fold_mm for i in tags.ids])
    if above.all():
        return tags
    h = tags_homography(tags.sheet.tags, tags.ids[above], tags.corners_px[above])
    if h is None:
        return None
    return replace(tags, ids=tags.ids[above], corners_px=tags.corners_px[above], H_img_sheet=h)


def _find_part(grey: Pixels, h: Array, sill: Sill, part: SillPart, contrast: float) -> SillSeen | None:
    for start in (_by_pattern(grey, h, part, contrast), _by_tags(grey, h, part)):
        seen = None if start is None else _seen_from(grey, start, sill, part, contrast)
        if seen is not None:
            return seen
    return None


def _seen_from(grey: Pixels, start: Array, sill: Sill, part: SillPart, contrast: float) -> SillSeen | None:
    """Fit a piece's saddles from a first homography; None if too few are seen."""
    fits, good, h = _fit(grey, start, part, contrast)
    if np.count_nonzero(good) < max(SILL.fewest_saddles, SILL.least_share * len(part.saddles)):
        return None
    return SillSeen(
        sill=sill,
        part=part,
        xy_mm=part.saddles[good],
        px=fits.px[good],
        sigma_px=fits.sigma_px[good],
        H_img_paper=h,
    )


def _by_pattern(grey: Pixels, h: Array, part: SillPart, contrast: float) -> Array | None:
    """Homography moved up or down in the picture to where the pattern is seen; None where it is nowhere.

    Looked at are four points round each saddle, two of them black and two white.
    """
    reach = SILL.look_at_plain if part.plain else SILL.look_at
    off = np.array([[1, 1], [-1, -1], [1, -1], [-1, 1]]) * reach * np.array(part.cell_mm)
    around = apply_h(h, part.saddles[:, None] + off)
    across = np.diff(apply_h(h, np.array([[0.0, 0.0], [1.0, 0.0]])), axis=0)[0]
    up = np.array([across[1], -across[0]])  # the sheet's x and y are seen about at a right angle
    best, best_share = None, SILL.least_like_pattern
    for dy in SILL.shifts_mm:
        at = np.asarray(around + dy * up, dtype=np.float32)
        values = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(float)
        black, white = values[:, :2].mean(axis=1), values[:, 2:].mean(axis=1)
        share = float(np.mean(part.saddle_sign * (white - black) > 0.5 * SILL.least_contrast * contrast))
        if share > best_share:
            best, best_share = dy, share
    if best is None:
        return None
    move = np.eye(3)
    move[:2, 2] = best * up
    out: Array = move @ h
    return out


def _by_tags(grey: Pixels, h: Array, part: SillPart) -> Array | None:
    """Homography (3, 3) by the tags that can be read in the straightened picture; None without."""
    low = np.min([c.min(axis=0) for c in part.tags.values()], axis=0) - SILL.around_mm
    high = np.max([c.max(axis=0) for c in part.tags.values()], axis=0) + SILL.around_mm
    ids, corners = _tags_seen_from_above(grey, h, low, high)
    return tags_homography(part.tags, np.array(ids, dtype=np.int64), corners) if ids else None


def _tags_seen_from_above(
    grey: Pixels, h: Array, low: Array, high: Array, most_per_mm: float = SILL.most_px_per_mm
) -> tuple[list[int], Array]:
    """Ids and corners (T, 4, 2), px of the photo, of tags between two corners (2,) of a plane seen at `h`."""
    rim = apply_h(h, np.array([[low[0], high[1]], [high[0], high[1]]]))
    scale = float(np.clip(np.linalg.norm(rim[1] - rim[0]) / (high[0] - low[0]), 2.0, most_per_mm))
    if not np.isfinite(scale):
        return [], np.empty((0, 4, 2))
    # straight picture <- paper: x right, y up, the pixel (0, 0) is at the upper left corner
    to_straight = np.array([[scale, 0, -scale * low[0]], [0, -scale, scale * high[1]], [0, 0, 1]])
    to_photo = h @ np.linalg.inv(to_straight)
    size = (int((high[0] - low[0]) * scale) + 1, int((high[1] - low[1]) * scale) + 1)
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    straight = np.asarray(cv2.warpPerspective(grey, to_photo, size, flags=how), dtype=np.uint8)
    ids, corners = detect_tags(straight, 1.0, (11, 31))
    return ids, apply_h(to_photo, corners)


def _fit(
    grey: Pixels, h: Array, part: SillPart, contrast: float
) -> tuple[SaddleFits, NDArray[np.bool_], Array]:
    """Fit the saddles from where a homography has them, then from where their fitted neighbours say.

    Returns the fits, which are good, and the last homography.
    """
    predicted = apply_h(h, part.saddles)
    fits, good = _fit_from(grey, h, part, predicted, contrast)
    for _ in range(2):
        if np.count_nonzero(good) < 4:
            break
        h = _own_homography(part, fits, good, h)
        lag = fits.px[good] - apply_h(h, part.saddles[good])
        predicted = apply_h(h, part.saddles) + nearby_mean(part.saddles, part.saddles[good], lag)
        fits, good = _fit_from(grey, h, part, predicted, contrast)
    return fits, good, h


def _own_homography(part: SillPart, fits: SaddleFits, good: NDArray[np.bool_], h: Array) -> Array:
    """Return the homography of the saddles found, where two rows fix one near the first; else the first."""
    if np.count_nonzero(good) < SILL.enough_for_own * len(good) or np.ptp(part.saddles[good, 1]) == 0:
        return h
    own = homography(part.saddles[good], fits.px[good])
    if own is None:
        return h
    moved = np.linalg.norm(apply_h(own, part.saddles) - apply_h(h, part.saddles), axis=1)
    return own if moved.max() < SILL.most_moved_px else h


def _fit_from(
    grey: Pixels, h: Array, part: SillPart, predicted: Array, contrast: float
) -> tuple[SaddleFits, NDArray[np.bool_]]:
    # Cells made square: the fit's pattern is that of squares.
    square = np.array([1.0, part.cell_mm[0] / part.cell_mm[1]])
    fits = fit_saddles(
        grey,
        h @ np.diag([*(1 / square), 1.0]),
        part.saddles * square,
        predicted,
        part.saddle_sign,
        part.cell_mm[0],
        grazing=True,
        plain=part.plain,
    )
    cell_px = np.linalg.norm(
        apply_h(h, part.saddles + [0.0, part.cell_mm[1]]) - apply_h(h, part.saddles), axis=1
    )
    with np.errstate(invalid="ignore"):
        good = (
            fits.inside
            & (fits.contrast > max(12.0, SILL.least_contrast * contrast))
            & (fits.misfit < SILL.worst_misfit)
            & (fits.sigma_px < SILL.most_sigma_px)
            & (fits.shift_px < np.maximum(SILL.most_shift_cells * cell_px, SILL.most_shift_px))
        )
        if good.any():
            good &= fits.misfit < max(3 * float(np.median(fits.misfit[good])), 0.06)
            good &= fits.contrast > 0.4 * np.median(fits.contrast[good])
    return fits, good
