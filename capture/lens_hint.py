"""What the EXIF block of a photo tells about the lens, and how far to believe it."""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Any, Final

import numpy as np
from PIL import Image

FULL_FRAME_DIAGONAL_MM: Final = float(np.hypot(36.0, 24.0))
"""Diagonal of the 35 mm frame, to which the equivalent focal length refers."""

USUAL_F35: Final = 45.0
"""Focal length, equivalent to 35 mm film, that is assumed where a photo says nothing of its lens."""

_FOCAL_REL_SD: Final = 0.03
"""Doubt of an EXIF focal length: rounding, focusing, the maker's convention (see the half-mm term too)."""

_EXIF_IFD: Final = 0x8769
_ORIENTATION: Final = 0x0112
_MAKE, _MODEL = 0x010F, 0x0110
_FOCAL, _FOCAL_35, _ZOOM = 0x920A, 0xA405, 0xA404
_PLANE_X_RES, _PLANE_UNIT = 0xA20E, 0xA210
_WIDTH, _HEIGHT = 0xA002, 0xA003
_UNIT_MM: Final = {2: 25.4, 3: 10.0, 4: 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Exif:
    """The few EXIF values that matter here; None or "" where the file does not say.

    Attributes
    ----------
    camera : make and model.
    orientation : 1-8; already applied to the pixels of a `Photo`.
    focal_mm : focal length of the lens.
    focal_35_mm : focal length for the same view on 36 x 24 mm film.
    plane_px_per_mm : sensor pixels per mm, across.
    stored_size : (width, height) the camera recorded, before any later resizing or cropping.
    """

    camera: str = ""
    orientation: int = 1
    focal_mm: float | None = None
    focal_35_mm: float | None = None
    plane_px_per_mm: float | None = None
    stored_size: tuple[int, int] | None = None


class FocalFrom(Enum):
    """Where a focal length is known from."""

    UNKNOWN = auto()
    CROPPED = auto()  # unknown: the photo was cropped after it was taken
    EQUIVALENT = auto()  # EXIF: 35 mm equivalent
    SENSOR = auto()  # EXIF: focal length and sensor resolution


@dataclass(frozen=True, slots=True, kw_only=True)
class LensHint:
    """Focal length before looking at the picture.

    Attributes
    ----------
    focal_px : focal length in pixels of this photo; None if nothing is known.
    rel_sd : its relative standard uncertainty (nan if unknown).
    source : where it comes from. mm : the focal length that the photo names there.
    cropped : True if the picture was cropped, so that its middle is not where the lens points.
    """

    focal_px: float | None = None
    rel_sd: float = float("nan")
    source: FocalFrom = FocalFrom.UNKNOWN
    mm: float = float("nan")
    cropped: bool = False


def read_exif(image: Image.Image) -> Exif:
    """Pick the values out of an opened picture; damaged EXIF counts as none."""
    try:
        base = image.getexif()
        detail: dict[int, Any] = dict(base.get_ifd(_EXIF_IFD))
    except Exception:  # noqa: BLE001 - EXIF is untrusted bytes and Pillow raises many kinds; it is only a hint
        return Exif()
    orientation = _number(base.get(_ORIENTATION))
    camera = " ".join(str(base.get(tag, "")).strip("\x00 ") for tag in (_MAKE, _MODEL)).strip()
    per_unit = _number(detail.get(_PLANE_X_RES))
    unit = _UNIT_MM.get(int(_number(detail.get(_PLANE_UNIT)) or 2))
    width, height = _number(detail.get(_WIDTH)), _number(detail.get(_HEIGHT))
    return Exif(
        camera=camera,
        orientation=int(orientation) if orientation and 1 <= orientation <= 8 else 1,
        focal_mm=_number(detail.get(_FOCAL)),
        focal_35_mm=_number(detail.get(_FOCAL_35)),
        plane_px_per_mm=per_unit / unit if per_unit and unit else None,
        stored_size=(int(width), int(height)) if width and height else None,
    )


def _number(value: Any) -> float | None:
    """Positive finite number or None (EXIF uses 0 for unknown, and 0/0 happens)."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def lens_hint(exif: Exif, size: tuple[int, int]) -> LensHint:
    """Focal length in pixels for a photo of this (upright) size.

    Equivalent focal length: f_px = f35 * diagonal_px / 43.27 mm (Exif 2.3 leaves the convention open; the
    diagonal is common practice). A picture that was cropped to another shape after recording gives no hint.
    """
    long_px, short_px = max(size), min(size)
    aspect = long_px / short_px
    stored = max(exif.stored_size or size), min(exif.stored_size or size)
    if abs(stored[0] / stored[1] / aspect - 1) > 0.01:
        return LensHint(source=FocalFrom.CROPPED, cropped=True)
    if exif.focal_35_mm and 8 <= exif.focal_35_mm <= 800:
        usual_shape = min(abs(aspect / a - 1) for a in (4 / 3, 3 / 2)) < 0.01
        rel_sd = float(np.hypot(_FOCAL_REL_SD if usual_shape else 2 * _FOCAL_REL_SD, 0.29 / exif.focal_35_mm))
        focal = exif.focal_35_mm * float(np.hypot(*size)) / FULL_FRAME_DIAGONAL_MM
        return LensHint(focal_px=focal, rel_sd=rel_sd, source=FocalFrom.EQUIVALENT, mm=exif.focal_35_mm)
    if exif.focal_mm and exif.plane_px_per_mm:
        focal = exif.focal_mm * exif.plane_px_per_mm * long_px / stored[0]
        if 0.3 < focal / long_px < 20:
            return LensHint(
                focal_px=focal,
                rel_sd=_FOCAL_REL_SD,
                source=FocalFrom.SENSOR,
                mm=exif.focal_mm,
            )
    return LensHint()
