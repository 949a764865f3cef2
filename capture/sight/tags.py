"""Reading the coded tags: which sheet is in the photo, and roughly where each of its marks lies.

Tags only serve to find and name the saddles; nothing is measured at a tag's corner. So they are looked for in
a reduced picture first, and at full size only if that finds too few.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels
from capture.errors import SheetError
from capture.sheet.apron import APRON, HALF_COLS
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import SHEETS, TAG_MODULES, TAG_SHARE, MarkerSheet
from capture.sheet.sill import SILL_SHEETS, sill_of

TARGETS: Final[Mapping[str, MarkerSheet]] = {**SHEETS, "board": BOARD}
TARGET_OF_ID: Final[Mapping[int, str]] = {i: name for name, target in TARGETS.items() for i in target.tags}
APRON_IDS: Final = frozenset(i for half in APRON for i in half.tags)


@dataclass(frozen=True, slots=True)
class TagNumbers:
    """How many tags make a sheet; common practice, no source.

    Attributes
    ----------
    enough : so many consistent tags, well spread: no need to look closer (the saddles verify themselves
        later). fewest : with fewer there is no sheet.
    coarse_long_side : pixels of the picture in which tags are looked for first.
    second_sheet : so many tags that agree on a second plane are no misreading.
    """

    enough: int = 12
    fewest: int = 3
    coarse_long_side: int = 2600
    second_sheet: int = 4


NUMBERS: Final = TagNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tags:
    """Tags of one sheet that agree with one another.

    Attributes
    ----------
    sheet : the sheet they belong to.
    ids : (T,) tag ids.
    corners_px : (T, 4, 2) corners in full-size pixels, in the sheet's own order.
    H_img_sheet : (3, 3) homography, pixels <- nominal mm; it ignores lens distortion.
    other_ids, other_corners_px : (R,), (R, 4, 2) tags of the apron that were read.
    """

    sheet: MarkerSheet
    ids: NDArray[np.int64]
    corners_px: Array
    H_img_sheet: Array
    other_ids: NDArray[np.int64]
    other_corners_px: Array

    def predict(self, xy_mm: Array) -> Array:
        """Pixels (N, 2) of sheet points (N, 2): the homography, corrected by what the nearest tags show.

        The mean of a tag's four corner residuals is used: blur pulls opposite corners opposite ways.
        """
        at = np.stack([self.sheet.tags[int(i)].mean(axis=0) for i in self.ids])
        off = self.corners_px.mean(axis=1) - np.stack(
            [apply_h(self.H_img_sheet, self.sheet.tags[int(i)]).mean(axis=0) for i in self.ids]
        )
        return apply_h(self.H_img_sheet, xy_mm) + nearby_mean(xy_mm, at, off)


def nearby_mean(xy_mm: Array, at_mm: Array, values: Array, n_near: int = 5) -> Array:
    """Mean (N, 2) of the values (K, 2) at the nearest of K places, weighted by inverse squared distance."""
    dist2 = np.sum((xy_mm[:, None] - at_mm[None]) ** 2, axis=2) + 1.0
    near = np.argsort(dist2, axis=1)[:, :n_near]
    weight = 1 / np.take_along_axis(dist2, near, axis=1)
    out: Array = np.sum(weight[:, :, None] * values[near], axis=1) / weight.sum(axis=1, keepdims=True)
    return out


def apply_h(h: Array, points: Array) -> Array:
    """Map points (..., 2) by a homography (3, 3)."""
    p = points @ h[:, :2].T + h[:, 2]
    out: Array = p[..., :2] / p[..., 2:]
    return out


def homography(xy_mm: Array, px: Array) -> Array | None:
    """Homography (3, 3), pixels <- mm, by least squares; None where the points do not fix one."""
    h, _ = cv2.findHomography(xy_mm, px, 0)
    return None if h is None else np.asarray(h, dtype=float)


def find_tags(grey: Pixels, name: str) -> Tags:
    """Find the sheet's tags.

    Parameters
    ----------
    grey : (H, W) uint8 photo.
    name : of the photo, for messages.

    Raises
    ------
    SheetError
        No sheet, a mirrored sheet, two sheets, or too few readable tags.
    """
    best: Tags | None = None
    for ids, corners in _stages(grey):
        found = _best_target(ids, corners)
        if found is None:
            continue
        _refuse_second_sheet(found, ids, corners, name)
        if best is None or len(found.ids) > len(best.ids):
            best = found
        if _is_enough(best):
            break
    if best is None:
        raise SheetError(_why_nothing(grey, name))
    return _with_apron(best, grey)


def _with_apron(tags: Tags, grey: Pixels) -> Tags:
    """Where a tag of the apron was read, look closely along the whole strip for the others."""
    if len(tags.other_ids) == 0:
        return tags
    corners = tags.other_corners_px
    side = float(np.median(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)))
    along = tags.H_img_sheet[:2, 0] - tags.H_img_sheet[2, 0] * corners.mean(axis=(0, 1))
    along = np.abs(along) / np.linalg.norm(along)
    reach = side * (2 * HALF_COLS * along / TAG_SHARE + 4)
    low = np.maximum(np.floor(corners.min(axis=(0, 1)) - reach), 0).astype(int)
    high = np.ceil(corners.max(axis=(0, 1)) + reach).astype(int)
    part = np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]])
    ids, found = detect_tags(part, 1.0, (11, 21))
    keep = [k for k, i in enumerate(ids) if i in APRON_IDS]
    if len(keep) <= len(tags.other_ids):
        return tags
    return replace(
        tags,
        other_ids=np.array([ids[k] for k in keep], dtype=np.int64),
        other_corners_px=found[keep] + low,
    )


def tags_homography(printed: Mapping[int, Array], ids: NDArray[np.int64], corners_px: Array) -> Array | None:
    """Homography (3, 3), pixels <- mm, of the tags that belong to a target; None if fewer than two agree."""
    keep = [k for k, i in enumerate(ids) if int(i) in printed]
    if len(keep) < 2:
        return None
    nominal = np.stack([printed[int(ids[k])] for k in keep]).reshape(-1, 2)
    px = corners_px[keep]
    side_px = float(np.median(np.linalg.norm(px - np.roll(px, 1, axis=1), axis=2)))
    h, inlier = cv2.findHomography(nominal, px.reshape(-1, 2), cv2.RANSAC, 0.3 * side_px)
    if h is None or np.count_nonzero(inlier.reshape(-1, 4).all(axis=1)) < 2:
        return None
    return np.asarray(h, dtype=float)


def _is_enough(tags: Tags) -> bool:
    at = np.stack([tags.sheet.tags[int(i)].mean(axis=0) for i in tags.ids])
    span = np.ptp(at, axis=0) / np.ptp(tags.sheet.saddles, axis=0)
    return len(at) >= NUMBERS.enough and bool(span[0] > 0.7) and bool(span[1] > 0.4)


def _stages(grey: Pixels) -> Iterator[tuple[list[int], Array]]:
    """Look ever more patiently: reduced picture, full size, enlarged; each with few, then all, thresholds."""
    factor = max(1, round(max(grey.shape) / NUMBERS.coarse_long_side + 0.25))
    scales = [1 / factor] if factor > 1 else []
    scales += [1.0] if max(grey.shape) > NUMBERS.coarse_long_side else [1.0, 2.0]
    for scale in scales:
        image = grey if scale == 1.0 else _scaled(grey, scale)
        for windows in ((11, 11), (3, 33)):
            yield detect_tags(image, scale, windows)


def _scaled(grey: Pixels, scale: float) -> Pixels:
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
    return np.asarray(cv2.resize(grey, size, interpolation=how), dtype=np.uint8)


def _dictionary() -> cv2.aruco.Dictionary:
    """Return the codes of our marks only, under their own ids: fewer to compare, so faster and surer."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    n_used = max(APRON_IDS) + 1
    return cv2.aruco.Dictionary(family.bytesList[:n_used], family.markerSize, family.maxCorrectionBits)


def detect_tags(image: Pixels, scale: float, windows: tuple[int, int]) -> tuple[list[int], Array]:
    """Ids and corners (T, 4, 2) in full-size pixels."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = windows
    parameters.adaptiveThreshWinSizeStep = 10
    parameters.minMarkerPerimeterRate = 0.015
    # Blurred tags: read the middle of well sampled modules and mend up to five of the 36 bits. That lets in
    # about one stray square in seventy as a false tag, so all must agree on one plane (`_consistent`).
    parameters.perspectiveRemovePixelPerCell = 8
    parameters.perspectiveRemoveIgnoredMarginPerCell = 0.3
    parameters.errorCorrectionRate = 1.0
    corners, ids, _ = cv2.aruco.ArucoDetector(_dictionary(), parameters).detectMarkers(image)
    if ids is None or len(ids) == 0:
        return [], np.empty((0, 4, 2))
    px = np.array([c.reshape(4, 2) for c in corners], dtype=float)
    ratio = np.array([1 / scale, 1 / scale])
    return [int(i) for i in np.ravel(ids)], (px + 0.5) * ratio - 0.5


def _best_target(ids: list[int], corners: Array) -> Tags | None:
    """Of all sheets and the board the one with most consistent tags.

    A print with a sill has the same tags as one without, but for those below the fold: it is only told by
    these, where it stands unfolded; where it is folded, by the sill itself.
    """
    votes = Counter(TARGET_OF_ID[i] for i in ids if i in TARGET_OF_ID)
    names = [name for name, _ in votes.most_common(2)]
    targets = [TARGETS[name] for name in names] + [SILL_SHEETS[n] for n in names if n in SILL_SHEETS]
    candidates = [_consistent(ids, corners, target) for target in targets]
    return max((c for c in candidates if c is not None), key=lambda c: len(c.ids), default=None)


def _consistent(ids: list[int], corners: Array, sheet: MarkerSheet) -> Tags | None:
    """Keep the tags of a sheet that lie on one plane as printed; None if they are too few."""
    keep = [k for k, i in enumerate(ids) if i in sheet.tags]
    if len(keep) < NUMBERS.fewest:
        return None
    nominal = np.stack([sheet.tags[ids[k]] for k in keep])
    px = corners[keep]
    side_px = float(np.median(np.linalg.norm(px - np.roll(px, 1, axis=1), axis=2)))
    # Lens distortion bends the sheet by less than this; a false tag lies anywhere.
    h, inlier = cv2.findHomography(nominal.reshape(-1, 2), px.reshape(-1, 2), cv2.RANSAC, 0.5 * side_px)
    if h is None:
        return None
    good = inlier.reshape(-1, 4).all(axis=1)
    if np.count_nonzero(good) < NUMBERS.fewest:
        return None
    h, _ = cv2.findHomography(nominal[good].reshape(-1, 2), px[good].reshape(-1, 2), 0)
    if h is None:
        return None
    rest = [k for k, i in enumerate(ids) if i in APRON_IDS]
    return Tags(
        sheet=sheet,
        ids=np.array([ids[k] for k in keep], dtype=np.int64)[good],
        corners_px=px[good],
        H_img_sheet=np.asarray(h, dtype=float),
        other_ids=np.array([ids[k] for k in rest], dtype=np.int64),
        other_corners_px=corners[rest],
    )


def _refuse_second_sheet(found: Tags, ids: list[int], corners: Array, name: str) -> None:
    """Refuse another kind of sheet, or another print of the same, beside the one found."""
    used = {(int(i), *map(float, c.mean(axis=0))) for i, c in zip(found.ids, found.corners_px, strict=True)}
    rest = [k for k, i in enumerate(ids) if (i, *map(float, corners[k].mean(axis=0))) not in used]
    other = _best_target([ids[k] for k in rest], corners[rest])
    if other is None or len(other.ids) < NUMBERS.second_sheet or _may_be_folded(found, other):
        return
    if other.sheet.paper == found.sheet.paper:
        raise SheetError(
            f"{name}: the {found.sheet.paper} sheet is seen twice; leave only one print in the picture"
        )
    raise SheetError(
        f"{name}: tags of two different sheets ({found.sheet.paper} and {other.sheet.paper}) are in view; "
        "leave only one in the picture"
    )


def _may_be_folded(found: Tags, other: Tags) -> bool:
    """Say whether the tags in the other plane are what the sheet shows where its lower end is folded."""
    if other.sheet.paper != found.sheet.paper or np.isin(other.ids, found.ids).any():
        return False
    fold = sill_of(found.sheet).fold_mm
    return all(other.sheet.tags[int(i)][:, 1].max() <= fold for i in other.ids)


def _why_nothing(grey: Pixels, name: str) -> str:
    """Say why no sheet was found; a mirrored one is only looked for here."""
    factor = max(1, round(max(grey.shape) / NUMBERS.coarse_long_side + 0.25))
    small = _scaled(grey, 1 / factor) if factor > 1 else grey
    ids, corners = detect_tags(np.ascontiguousarray(small[:, ::-1]), 1 / factor, (3, 33))
    if _best_target(ids, corners) is not None:
        return f"{name}: the marker sheet is mirrored; switch off the camera's mirror setting"
    return (
        f"{name}: no marker sheet found, fewer than {NUMBERS.fewest} of its coded tags can be read; "
        "print one with 'foldgauge sheet' and show its whole ring, sharp and large in the picture"
    )


def tag_bits(tag_id: int) -> NDArray[np.bool_]:
    """Return the tag's modules (8, 8), True = white, row 0 at the top, black border included."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, tag_id, TAG_MODULES, borderBits=1)) > 127


def white_modules(tag_id: int, corners: Array) -> Iterator[tuple[float, float, float]]:
    """White modules of a tag with these corners (4, 2): lower left x and y, and side, mm."""
    module = (corners[1, 0] - corners[0, 0]) / TAG_MODULES
    for row, col in np.argwhere(tag_bits(tag_id)):
        yield corners[0, 0] + col * module, corners[0, 1] - (row + 1) * module, module
