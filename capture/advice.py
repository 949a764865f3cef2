"""What is weak in a photo, by how much, what it costs and what to do about it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from capture.adjust import stretch, tilt_deg
from capture.sighting import Sighting
from capture.view import View


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One piece of advice.

    Attributes
    ----------
    topic : short key: "resolution", "tilt", "distance", "blur", "exposure", "print scale", "hidden marks",
        "flatness".
    strong : True if the result should not be trusted without acting on it.
    text : what was measured and what to do, one plain sentence.
    cost_mm : rough standard uncertainty it adds to a length of 60 mm.
    """

    topic: str
    strong: bool
    text: str
    cost_mm: float


def advise(view: View, sighting: Sighting) -> tuple[Advice, ...]:
    """Advice on one photo, the costliest first.

    The costs are those of the feasibility trial behind this tool (rendered photographs of known truth): they
    rank the advice, and are no part of the uncertainty budget.
    """
    found = [
        *_resolution(view),
        *_tilt(view),
        *_distance(view),
        *_blur(view, sighting),
        *_exposure(sighting),
        *_print_scale(view),
        *_hidden(sighting),
        *_flatness(view),
    ]
    return tuple(sorted(found, key=lambda a: -a.cost_mm))


def _resolution(view: View) -> Iterator[Advice]:
    per_mm = view.px_per_mm(np.zeros(2))
    if per_mm < 2.5:
        yield Advice(
            topic="resolution",
            strong=True,
            text=f"only {per_mm:.1f} px/mm: a card's thickness is no longer seen; "
            "fill the picture with the sheet (10 px/mm is good)",
            cost_mm=1.0,
        )
    elif per_mm < 4:
        yield Advice(
            topic="resolution",
            strong=False,
            text=f"{per_mm:.1f} px/mm is coarse: fill the picture with the sheet (10 px/mm is good)",
            cost_mm=0.5,
        )


def _tilt(view: View) -> Iterator[Advice]:
    tilt = tilt_deg(view)
    if tilt > 20:
        yield Advice(
            topic="tilt",
            strong=tilt > 30,
            text=f"the sheet is seen {tilt:.0f} degrees from the side: uneven near ends shift the result; "
            "look straight along the spine",
            cost_mm=round(0.5 * float(np.tan(np.radians(tilt))), 2),  # near ends uneven by 0.5 mm
        )


def _distance(view: View) -> Iterator[Advice]:
    near_mm = float(np.linalg.norm(view.eye_mm()))
    if near_mm < 400:
        yield Advice(
            topic="distance",
            strong=False,
            text=f"the camera is {near_mm / 10:.0f} cm away: near ends that are not flush shift the result; "
            "step back to 50-120 cm and zoom in",
            cost_mm=round(0.5 * 60 / near_mm, 2),
        )


def _blur(view: View, sighting: Sighting) -> Iterator[Advice]:
    blur_mm = sighting.blur_px / view.px_per_mm(np.zeros(2))
    if blur_mm > 0.15 and sighting.blur_px > 1.2:
        yield Advice(
            topic="blur",
            strong=blur_mm > 0.35,
            text=f"the picture is blurred by {blur_mm:.2f} mm ({sighting.blur_px:.1f} px): hold still, "
            "focus on the near end of the dummy, use more light",
            cost_mm=round(0.5 * blur_mm, 2),
        )


def _exposure(sighting: Sighting) -> Iterator[Advice]:
    if sighting.clipped > 0.1:
        yield Advice(
            topic="exposure",
            strong=sighting.clipped > 0.6,
            text=f"white is burnt out at {100 * sighting.clipped:.0f} % of the marks: expose one stop less",
            cost_mm=0.1,
        )
    if sighting.contrast < 60:
        yield Advice(
            topic="exposure",
            strong=sighting.contrast < 30,
            text=f"black and white differ by only {sighting.contrast:.0f} of 255 levels: more light, no haze",
            cost_mm=0.1,
        )


def _print_scale(view: View) -> Iterator[Advice]:
    doubt = float(np.sqrt(np.max(np.diag(view.cov)[11:13])))
    ratio, ratio_sd = stretch(view)
    if abs(ratio) > max(0.004, 3 * ratio_sd) and doubt > 1.5e-3:
        yield Advice(
            topic="print scale",
            strong=False,
            text=f"the print is {100 * abs(ratio):.1f} % {'too wide' if ratio > 0 else 'too high'}, "
            "as 'fit to page' makes it: print at 100 %, or measure both check bars",
            cost_mm=round(60 * abs(ratio), 2),
        )
    if doubt > 1.5e-3:
        yield Advice(
            topic="print scale",
            strong=False,
            text=f"the print scale is {100 * doubt:.1f} % doubtful: measure the sheet's two check bars "
            "with a steel rule and give both lengths",
            cost_mm=round(60 * doubt, 2),
        )


def _hidden(sighting: Sighting) -> Iterator[Advice]:
    ring = sighting.n_expected - int(np.count_nonzero(sighting.sheet.in_bottom_band))
    seen = len(sighting.index) - sighting.n_bottom_band
    if seen < 0.6 * ring:
        yield Advice(
            topic="hidden marks",
            strong=False,
            text=f"only {seen} of the {ring} marks on the left, top and right of the sheet are seen: "
            "show the whole ring, without glare",
            cost_mm=0.05,
        )


def _flatness(view: View) -> Iterator[Advice]:
    rms_mm = view.rms_px / view.px_per_mm(np.zeros(2))
    if rms_mm > 0.05 and view.rms_px > 0.3:
        yield Advice(
            topic="flatness",
            strong=rms_mm > 0.1,
            text=f"the marks lie {rms_mm:.2f} mm (rms) off one plane: the sheet is not flat; "
            "glue it on stiff board",
            cost_mm=round(2 * rms_mm, 2),
        )
