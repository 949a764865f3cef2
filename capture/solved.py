"""The capture room in one call: from photo files to solved views; and the plane of a shut dummy."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from capture.camera.adjust import solve_view, tilt_deg
from capture.camera.calibrated_camera import Camera
from capture.camera.view import View
from capture.errors import SheetError
from capture.photo import Photo, read_photo
from capture.sheet.printer_file import Bars, print_scale_for
from capture.sight.sighting import Sighting, find_sheet

THICKNESS_SD_MM: Final = 0.3
"""Closed thickness read with a rule on a springy dummy (common practice, no source)."""

_MOST_TILT_DEG: Final = 20.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SolvedPhoto:
    """One photo with its sheet found and its camera solved."""

    photo: Photo
    sighting: Sighting
    view: View


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ClosedPlane:
    """A shut dummy lying on the uncut sheet, from above.

    Attributes
    ----------
    solved : the photo and its view.
    top_mm, top_sd_mm : height of the upper page's outer face over the sheet: the plane of the page outline.
    card_mm, card_sd_mm : height of card that sticks out: somewhere between the covers, so the middle of the
        thickness, uniformly doubtful over it.
    notes : what was assumed, and what would be better.
    """

    solved: SolvedPhoto
    top_mm: float
    top_sd_mm: float
    card_mm: float
    card_sd_mm: float
    notes: tuple[str, ...]


def solve_photo(
    path: Path, *, bars_mm: Bars | None = None, printer: Path | None = None, camera: Camera | None = None
) -> SolvedPhoto:
    """Read a photo, find its sheet, solve its camera.

    Parameters
    ----------
    path : the photo. bars_mm, printer : the check bars, see `capture.sheet.printer_file.print_scale_for`.
    camera : a calibrated camera; None = what the photo says of its lens.

    Raises
    ------
    FoldgaugeError
        One line on what is wrong with the photo, the sheet, the bars or the camera.
    """
    photo = read_photo(path)
    sighting = find_sheet(photo)
    view = solve_view(photo, sighting, print_scale_for(sighting.sheet, bars_mm, printer), camera)
    return SolvedPhoto(photo=photo, sighting=sighting, view=view)


def solve_photos(
    paths: Sequence[Path],
    *,
    bars_mm: Bars | None = None,
    printer: Path | None = None,
    camera: Camera | None = None,
) -> tuple[SolvedPhoto, ...]:
    """Solve several photos of one dummy, each on its own sheet; arguments and errors as for `solve_photo`."""
    return tuple(solve_photo(path, bars_mm=bars_mm, printer=printer, camera=camera) for path in paths)


def closed_plane(
    path: Path,
    thickness_mm: float,
    *,
    thickness_sd_mm: float = THICKNESS_SD_MM,
    bars_mm: Bars | None = None,
    printer: Path | None = None,
    camera: Camera | None = None,
) -> ClosedPlane:
    """Solve a photo of the shut dummy lying on the uncut sheet, taken from above.

    Parameters
    ----------
    thickness_mm, thickness_sd_mm : thickness of the shut dummy, and its standard uncertainty.
    path, bars_mm, printer, camera : as for `solve_photo`.

    Raises
    ------
    FoldgaugeError
        As for `solve_photo`; or the thickness makes no sense, or the photo is taken too much from the side.
    """
    if not 0 < thickness_mm <= 60 or not 0 <= thickness_sd_mm <= thickness_mm:
        raise SheetError(f"thickness of the shut dummy: 0 to 60 mm is wanted, got {thickness_mm:g} mm")
    solved = solve_photo(path, bars_mm=bars_mm, printer=printer, camera=camera)
    tilt = tilt_deg(solved.view)
    if tilt > _MOST_TILT_DEG:
        raise SheetError(
            f"{solved.photo.name}: the sheet is seen {tilt:.0f} degrees from the side, over "
            f"{_MOST_TILT_DEG:.0f}; for the shut dummy photograph it from straight above"
        )
    card_sd = thickness_mm / np.sqrt(12)
    notes = [f"the shut dummy is taken to be {thickness_mm:g} mm thick"]
    sideways = float(np.tan(np.radians(tilt)) * card_sd)
    if sideways > 0.1:
        notes.append(
            f"seen {tilt:.0f} degrees from the side: card between the covers is {sideways:.1f} mm doubtful; "
            "photograph it from straight above"
        )
    if not solved.sighting.bottom_band_seen:
        notes.append("the sheet's lower band is not seen; lay the dummy inside the ring, on an uncut sheet")
    return ClosedPlane(
        solved=solved,
        top_mm=thickness_mm,
        top_sd_mm=thickness_sd_mm,
        card_mm=thickness_mm / 2,
        card_sd_mm=float(np.hypot(card_sd, thickness_sd_mm / 2)),
        notes=tuple(notes),
    )
