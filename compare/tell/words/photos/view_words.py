"""What a solved view rests on, in words: the lens, the print, the marks; and what a closed photo rests on."""

from capture.camera.view_facts import (
    LensCalibrated,
    LensHinted,
    MarksLeftOut,
    MarksSeen,
    PrintMeasured,
    PrintTaken,
    ViewFact,
)
from capture.lens_hint import FocalFrom, LensHint
from capture.solved import BandHidden, ClosedFact, SeenFromSide, TakenThick
from compare.units import Unit


def focal_source(hint: LensHint) -> str:
    """Return where a focal length comes from."""
    match hint.source:
        case FocalFrom.EQUIVALENT:
            return f"EXIF ({hint.mm:.0f} mm, 35 mm equivalent)"
        case FocalFrom.SENSOR:
            return f"EXIF ({hint.mm:.1f} mm and sensor resolution)"
        case FocalFrom.CROPPED:
            return "unknown (the photo was cropped after it was taken)"
        case FocalFrom.UNKNOWN:
            return "unknown"


def view_note(fact: ViewFact) -> str:
    """Return one thing that a solved view rests on, without full stop."""
    match fact:
        case LensCalibrated(camera, n_photos, turned, taken_for):
            note = f"lens: calibrated ({camera}, {n_photos} photos)"
            if turned:
                note += "; the photo was turned by a program, so the picture's centre is doubtful"
            if taken_for:
                note += f"; the photo does not say which camera took it, taken for {taken_for}"
            return note
        case LensHinted(hint) if hint.focal_px is not None:
            doubt = f"{100 * hint.rel_sd:.1f} % doubtful, refined by the sheet"
            return f"focal length: {focal_source(hint)}, {doubt}"
        case LensHinted(hint):
            better = "; give the uncropped original for a surer result" if hint.cropped else ""
            return f"focal length: {focal_source(hint)}; worked out from the sheet alone{better}"
        case PrintMeasured(across, up):
            return f"print scale: measured, {across:.4f} across and {up:.4f} up"
        case PrintTaken(sd):
            return (
                f"print scale: not measured, taken as 1 with {100 * sd:.1f} % doubt; measure the two check "
                "bars to remove it"
            )
        case MarksSeen(seen, expected):
            return f"marks: {seen} of the uncut sheet's {expected} seen"
        case MarksLeftOut(count):
            return f"{count} of them disagreed with the rest and were left out"


def closed_note(fact: ClosedFact, unit: Unit) -> str:
    """Return one thing that a photo of the shut dummy rests on, without full stop."""
    match fact:
        case TakenThick(mm):
            return f"the shut dummy is taken to be {unit.plain(mm)} {unit.name} thick"
        case SeenFromSide(deg, doubt_mm):
            return (
                f"seen {deg:.0f} degrees from the side: card between the covers is {unit.words(doubt_mm)} "
                "doubtful; photograph it from straight above"
            )
        case BandHidden():
            return "the sheet's lower band is not seen; lay the dummy inside the ring, on an uncut sheet"
