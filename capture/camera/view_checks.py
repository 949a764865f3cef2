"""Whether a solved view can carry a measurement, and whether it agrees with the check bars."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.camera.view import View
from capture.errors import SheetError
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting


@dataclass(frozen=True, slots=True)
class SoundNumbers:
    """From which on a view is refused; common practice, no source.

    Attributes
    ----------
    most_bow_mm : of the sheet.
    most_tilt_deg : of the sheet's normal from the line of sight.
    least_px_per_mm : at the sheet's middle.
    most_rms_mm, most_rms_px : residual of the marks; beyond both it is refused.
    most_outliers : share of the marks that may disagree with the rest.
    bars_off : the photo sees the print's shape so many standard uncertainties of the bars away from what they
        say.
    """

    most_bow_mm: float = 3.0
    most_tilt_deg: float = 40.0
    least_px_per_mm: float = 1.5
    most_rms_mm: float = 0.15
    most_rms_px: float = 0.5
    most_outliers: float = 0.3
    bars_off: float = 3.5


SOUND: Final = SoundNumbers()


def tilt_deg(view: View) -> float:
    """Angle between the line of sight to the sheet's middle and the sheet's normal, degrees."""
    eye = view.eye_mm()
    return float(np.degrees(np.arccos(eye[2] / np.linalg.norm(eye))))


def stretch(view: View) -> tuple[float, float]:
    """How much more the print is stretched across than up (ratio less 1), and its standard uncertainty."""
    difference = np.zeros(len(view.params))
    difference[11], difference[12] = 1, -1
    return (
        float(np.expm1(difference @ view.params)),
        float(np.sqrt(difference @ view.cov @ difference)),
    )


def require_bars_fit(name: str, view: View, scale: PrintScale) -> None:
    """Refuse bars whose ratio the photo contradicts: it sees the shape of the print, though not its size."""
    if not scale.measured:
        return
    read = scale.across / scale.up - 1
    seen, _ = stretch(view)
    if abs(seen - read) > SOUND.bars_off * float(np.hypot(scale.across_sd, scale.up_sd)):
        raise SheetError(
            f"{name}: by the check bars the print is {100 * read:+.2f} % wider than high, by the photo "
            f"{100 * seen:+.2f} %; measure both bars again, from tick to tick, across first"
        )


def require_sound(name: str, view: View, sighting: Sighting, n_outliers: int, bow_mm: float) -> None:
    """Refuse a view that cannot carry a measurement."""
    if not np.all(np.isfinite(view.params)) or not np.all(np.isfinite(view.cov)):
        raise SheetError(
            f"{name}: the camera's place cannot be worked out from the sheet; photograph it again"
        )
    per_mm = view.px_per_mm(np.zeros(2))
    if n_outliers > SOUND.most_outliers * len(sighting.px) or (
        view.rms_px > SOUND.most_rms_px and view.rms_px / per_mm > SOUND.most_rms_mm
    ):
        raise SheetError(
            f"{name}: the marks do not lie on one plane (rms {view.rms_px / per_mm:.2f} mm, {n_outliers} of "
            f"{len(sighting.px)} far off); the sheet is curled or was moved: flatten it on stiff board"
        )
    if bow_mm > SOUND.most_bow_mm:
        raise SheetError(
            f"{name}: the sheet is bowed by about {bow_mm:.0f} mm, too much to measure in its plane; "
            "flatten it on stiff board"
        )
    tilt = tilt_deg(view)
    if tilt > SOUND.most_tilt_deg:
        raise SheetError(
            f"{name}: the sheet is seen {tilt:.0f} degrees from the side, over {SOUND.most_tilt_deg:.0f}; "
            "photograph it more squarely"
        )
    if per_mm < SOUND.least_px_per_mm:
        raise SheetError(
            f"{name}: only {per_mm:.1f} pixels per mm, under {SOUND.least_px_per_mm}; "
            "go nearer or use the camera's full size"
        )
