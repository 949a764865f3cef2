"""What is weak in a photo, by how much, what it costs and what to do about it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.camera.adjust import stretch, tilt_deg
from capture.camera.view import View
from capture.sight.sighting import Sighting

_SHAKEN: Final = 1.5
"""Blur of one direction over that of the other from which on the camera moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One piece of advice.

    Attributes
    ----------
    topic : short key: "resolution", "tilt", "distance", "zoom", "blur", "exposure", "glare", "print scale",
        "hidden marks", "flatness", "apron".
    strong : True if the result should not be trusted without acting on it.
    text : what was measured and what to do, one plain sentence.
    cost_mm : rough standard uncertainty it adds to a length of 60 mm.
    """

    topic: str
    strong: bool
    text: str
    cost_mm: float

    @property
    def line(self) -> str:
        """The advice with its price, for a reader."""
        return f"{self.text} (about {self.cost_mm:.2g} mm on a length of 60 mm)"


def advise(view: View, sighting: Sighting) -> tuple[Advice, ...]:
    """Advice on one photo, the costliest first.

    The costs are those of the feasibility trial behind this tool (rendered photographs of known truth): they
    rank the advice, and are no part of the uncertainty budget.
    """
    found = [
        *_resolution(view),
        *_tilt(view),
        *_distance(view),
        *_zoom(view),
        *_blur(view, sighting),
        *_exposure(sighting),
        *_glare(sighting),
        *_print_scale(view),
        *_hidden(sighting),
        *_flatness(view),
        *_apron(sighting),
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
            text=f"the picture is blurred by {blur_mm:.2f} mm ({sighting.blur_px:.1f} px): "
            f"{_how_blurred(sighting)}",
            cost_mm=round(0.5 * blur_mm, 2),
        )


def _how_blurred(sighting: Sighting) -> str:
    """Tell shake from focus by whether edges across and edges up are blurred alike."""
    if sighting.blur_ratio > _SHAKEN:
        return "mostly up and down, so the camera moved: rest it on something, use more light"
    if sighting.blur_ratio < 1 / _SHAKEN:
        return "mostly sideways, so the camera moved: rest it on something, use more light"
    return "the same both ways, so it is out of focus: tap on the near end of the dummy to focus there"


def _zoom(view: View) -> Iterator[Advice]:
    equivalent = float(np.exp(view.params[6]) * np.hypot(36, 24) / np.hypot(*view.size))
    near_mm = float(np.linalg.norm(view.eye_mm()))
    if equivalent < 22 and near_mm >= 400:  # nearer than that, the distance is told instead
        yield Advice(
            topic="zoom",
            strong=False,
            text=f"an ultra-wide lens took it ({equivalent:.0f} mm equivalent): take the main camera, or 2x",
            cost_mm=0.1,
        )


def _glare(sighting: Sighting) -> Iterator[Advice]:
    if sighting.n_glare >= 3:
        yield Advice(
            topic="glare",
            strong=False,
            text=f"light glares on {sighting.n_glare} marks, their black is no longer dark: turn the lamp or "
            "the sheet, use matt paper",
            cost_mm=0.05,
        )


def _apron(sighting: Sighting) -> Iterator[Advice]:
    if not sighting.apron and not sighting.sill:
        yield Advice(
            topic="apron",
            strong=False,
            text="no apron is seen, so the page line is looked for on bare card: hang the sheet's apron from "
            "the near edge of the base, or draw a felt-pen line along it",
            cost_mm=0.15,  # of a leg's height
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
    elif view.bow_mm > 0.8:
        yield Advice(
            topic="flatness",
            strong=view.bow_mm > 2,
            text=f"the sheet is bowed by about {view.bow_mm:.1f} mm; this is allowed for, but glue it on "
            "stiff board",
            cost_mm=round(0.1 * view.bow_mm, 2),  # 60 mm at a plane that is off by half the bow, 500 mm away
        )
