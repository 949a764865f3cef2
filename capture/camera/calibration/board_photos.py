"""Photos of the calibration board, in pixels of the picture as the camera stored it."""

from collections import Counter
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace

from capture.camera.calibrated_camera import CameraError, stored_size, to_stored
from capture.photo import Photo
from capture.sight.sighting import Sighting, find_target
from capture.sight.tags import homography


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BoardPhoto:
    """One photo of the board, in pixels of the stored picture.

    Attributes
    ----------
    name : of the file. photo_size : (width, height) stored. model, focal_35_mm, focal_mm : by EXIF.
    sighting : with `px` and the homography in stored pixels.
    """

    name: str
    photo_size: tuple[int, int]
    model: str
    focal_35_mm: float | None
    focal_mm: float | None
    focal_px: float | None
    sighting: Sighting


def board_photo(photo: Photo) -> BoardPhoto:
    """Find the board in a photo and put it in stored pixels.

    Raises
    ------
    FoldgaugeError
        There is no board that can be used, or the photo is mirrored.
    """
    if photo.exif.orientation not in (1, 3, 6, 8):
        raise CameraError(f"{photo.name}: the photo is mirrored; switch off the camera's mirror setting")
    seen = find_target(photo)
    px = to_stored(seen.px, photo.size, photo.exif)
    h = homography(seen.xy_mm, px)
    if h is None:
        raise CameraError(f"{photo.name}: the marks seen lie on one line; show more of the board")
    return BoardPhoto(
        name=photo.name,
        photo_size=stored_size(photo.size, photo.exif),
        model=photo.exif.camera,
        focal_35_mm=photo.exif.focal_35_mm,
        focal_mm=photo.exif.focal_mm,
        focal_px=photo.lens.focal_px,
        sighting=replace(seen, px=px, H_img_sheet=h),
    )


def of_one_kind(taken: list[BoardPhoto], left_out: list[tuple[str, str]]) -> list[BoardPhoto]:
    """Keep the photos of one size, camera, zoom and board: those of the majority; name the others."""
    kinds: tuple[tuple[str, Callable[[BoardPhoto], Hashable]], ...] = (
        ("another size", lambda p: p.photo_size),
        ("another camera", lambda p: p.model),
        ("another zoom", lambda p: (p.focal_35_mm, p.focal_mm)),
        ("another board or sheet", lambda p: p.sighting.sheet.paper),
    )
    for what, kind in kinds:
        if not taken:
            break
        usual, _ = Counter(kind(p) for p in taken).most_common(1)[0]
        left_out += [(p.name, f"{what} than the other photos") for p in taken if kind(p) != usual]
        taken = [p for p in taken if kind(p) == usual]
    return taken
