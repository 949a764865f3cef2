"""The capture room in one call: a photo and its set-up to a solved view; the plane of a shut dummy."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.camera.adjust import solve_view
from capture.camera.view import View
from capture.camera.view_checks import tilt_deg
from capture.errors import SheetError
from capture.photo import Photo, PhotoSource, read_photo
from capture.setup import Setup
from capture.sight.sighting import Sighting, find_sheet

THICKNESS_SD_MM: Final = 0.3
"""Closed thickness read with a rule on a springy dummy (common practice, no source)."""

_MOST_TILT_DEG: Final = 20.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Solved:
    """One photo with its sheet found and its camera solved, and the set-up it was solved with."""

    photo: Photo
    sighting: Sighting
    view: View
    setup: Setup


@dataclass(frozen=True, slots=True)
class TakenThick:
    """The shut dummy is taken to be so thick, mm."""

    mm: float


@dataclass(frozen=True, slots=True)
class SeenFromSide:
    """The sheet is seen from the side, so that card between the covers is doubtful by so much, mm."""

    deg: float
    doubt_mm: float


@dataclass(frozen=True, slots=True)
class BandHidden:
    """The sheet's lower band is not seen: the dummy does not lie inside the ring of an uncut sheet."""


ClosedFact = TakenThick | SeenFromSide | BandHidden
"""What a photo of the shut dummy rests on, and what would be better."""


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

    solved: Solved
    top_mm: float
    top_sd_mm: float
    card_mm: float
    card_sd_mm: float
    notes: tuple[ClosedFact, ...]


def solve_photo(source: PhotoSource, setup: Setup) -> Solved:
    """Read a photo, find its sheet, solve its camera.

    Parameters
    ----------
    source : the photo, see `capture.photo.read_photo`.
    setup : how it was taken; its bars and camera are used.

    Raises
    ------
    FoldgaugeError
        One line on what is wrong with the photo, the sheet, the bars or the camera.
    """
    photo = read_photo(source)
    sighting = find_sheet(photo)
    view = solve_view(photo, sighting, setup.print_scale(sighting.sheet), setup.camera)
    return Solved(photo=photo, sighting=sighting, view=view, setup=setup)


def closed_plane(
    source: PhotoSource, setup: Setup, thickness_mm: float, *, thickness_sd_mm: float = THICKNESS_SD_MM
) -> ClosedPlane:
    """Solve a photo of the shut dummy lying on the uncut sheet, taken from above.

    Parameters
    ----------
    source, setup : as for `solve_photo`.
    thickness_mm, thickness_sd_mm : thickness of the shut dummy, and its standard uncertainty.

    Raises
    ------
    FoldgaugeError
        As for `solve_photo`; or the thickness makes no sense, or the photo is taken too much from the side.
    """
    if not 0 < thickness_mm <= 60 or not 0 <= thickness_sd_mm <= thickness_mm:
        raise SheetError(f"thickness of the shut dummy: 0 to 60 mm is wanted, got {thickness_mm:g} mm")
    solved = solve_photo(source, setup)
    tilt = tilt_deg(solved.view)
    if tilt > _MOST_TILT_DEG:
        raise SheetError(
            f"{solved.photo.name}: the sheet is seen {tilt:.0f} degrees from the side, over "
            f"{_MOST_TILT_DEG:.0f}; for the shut dummy photograph it from straight above"
        )
    card_sd = thickness_mm / np.sqrt(12)
    notes: list[ClosedFact] = [TakenThick(thickness_mm)]
    sideways = float(np.tan(np.radians(tilt)) * card_sd)
    if sideways > 0.1:
        notes.append(SeenFromSide(tilt, sideways))
    if not solved.sighting.bottom_band_seen:
        notes.append(BandHidden())
    return ClosedPlane(
        solved=solved,
        top_mm=thickness_mm,
        top_sd_mm=thickness_sd_mm,
        card_mm=thickness_mm / 2,
        card_sd_mm=float(np.hypot(card_sd, thickness_sd_mm / 2)),
        notes=tuple(notes),
    )
