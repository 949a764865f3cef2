"""What is weak in a photo, by how much, what it costs and what to do about it."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

import numpy as np

from capture.camera.view import View
from capture.camera.view_checks import stretch, tilt_deg
from capture.sight.sighting import Sighting

_SHAKEN: Final = 1.5
"""Blur of one direction over that of the other from which on the camera moved."""


class Weak(Enum):
    """What is weak; `amount` in the unit named here."""

    CARD_UNSEEN = auto()  # px/mm
    COARSE = auto()  # px/mm
    FROM_SIDE = auto()  # degrees
    NEAR = auto()  # cm
    SHAKEN_UP = auto()  # mm, and px
    SHAKEN_ACROSS = auto()  # mm, and px
    OUT_OF_FOCUS = auto()  # mm, and px
    WIDE_LENS = auto()  # mm equivalent
    GLARE = auto()  # count of marks
    NO_APRON = auto()
    BURNT_OUT = auto()  # per cent of the marks
    FLAT_LIGHT = auto()  # levels of 255
    PRINT_WIDE = auto()  # per cent
    PRINT_HIGH = auto()  # per cent
    PRINT_DOUBTFUL = auto()  # per cent
    MARKS_HIDDEN = auto()  # count, and of how many
    NOT_FLAT = auto()  # mm rms
    BOWED = auto()  # mm


OF_THE_PRINT: Final = frozenset({Weak.PRINT_WIDE, Weak.PRINT_HIGH, Weak.PRINT_DOUBTFUL})


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One piece of advice.

    Attributes
    ----------
    kind : what is weak.
    strong : True if the result should not be trusted without acting on it.
    amount : by how much, in the unit of the kind. px : of a blur.
    count, count_of : marks concerned, and of how many.
    cost_mm : rough standard uncertainty it adds to a length of 60 mm.
    """

    kind: Weak
    strong: bool
    amount: float = 0.0
    px: float = 0.0
    count: int = 0
    count_of: int = 0
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
            kind=Weak.CARD_UNSEEN,
            strong=True,
            amount=per_mm,
            cost_mm=1.0,
        )
    elif per_mm < 4:
        yield Advice(
            kind=Weak.COARSE,
            strong=False,
            amount=per_mm,
            cost_mm=0.5,
        )


def _tilt(view: View) -> Iterator[Advice]:
    tilt = tilt_deg(view)
    if tilt > 20:
        yield Advice(
            kind=Weak.FROM_SIDE,
            strong=tilt > 30,
            amount=tilt,
            cost_mm=round(0.5 * float(np.tan(np.radians(tilt))), 2),  # near ends uneven by 0.5 mm
        )


def _distance(view: View) -> Iterator[Advice]:
    near_mm = float(np.linalg.norm(view.eye_mm()))
    if near_mm < 400:
        yield Advice(
            kind=Weak.NEAR,
            strong=False,
            amount=near_mm / 10,
            cost_mm=round(0.5 * 60 / near_mm, 2),
        )


def _blur(view: View, sighting: Sighting) -> Iterator[Advice]:
    blur_mm = sighting.blur_px / view.px_per_mm(np.zeros(2))
    if blur_mm > 0.15 and sighting.blur_px > 1.2:
        yield Advice(
            kind=_blurred(sighting),
            strong=blur_mm > 0.35,
            amount=blur_mm,
            px=sighting.blur_px,
            cost_mm=round(0.5 * blur_mm, 2),
        )


def _blurred(sighting: Sighting) -> Weak:
    """Tell shake from focus by whether edges across and edges up are blurred alike."""
    if sighting.blur_ratio > _SHAKEN:
        return Weak.SHAKEN_UP
    if sighting.blur_ratio < 1 / _SHAKEN:
        return Weak.SHAKEN_ACROSS
    return Weak.OUT_OF_FOCUS


def _zoom(view: View) -> Iterator[Advice]:
    equivalent = float(np.exp(view.params[6]) * np.hypot(36, 24) / np.hypot(*view.size))
    near_mm = float(np.linalg.norm(view.eye_mm()))
    if equivalent < 22 and near_mm >= 400:  # nearer than that, the distance is told instead
        yield Advice(
            kind=Weak.WIDE_LENS,
            strong=False,
            amount=equivalent,
            cost_mm=0.1,
        )


def _glare(sighting: Sighting) -> Iterator[Advice]:
    if sighting.n_glare >= 3:
        yield Advice(
            kind=Weak.GLARE,
            strong=False,
            count=sighting.n_glare,
            cost_mm=0.05,
        )


def _apron(sighting: Sighting) -> Iterator[Advice]:
    if not sighting.apron and not sighting.sill:
        yield Advice(
            kind=Weak.NO_APRON,
            strong=False,
            cost_mm=0.15,  # of a leg's height
        )


def _exposure(sighting: Sighting) -> Iterator[Advice]:
    if sighting.clipped > 0.1:
        yield Advice(
            kind=Weak.BURNT_OUT,
            strong=sighting.clipped > 0.6,
            amount=100 * sighting.clipped,
            cost_mm=0.1,
        )
    if sighting.contrast < 60:
        yield Advice(
            kind=Weak.FLAT_LIGHT,
            strong=sighting.contrast < 30,
            amount=sighting.contrast,
            cost_mm=0.1,
        )


def _print_scale(view: View) -> Iterator[Advice]:
    doubt = float(np.sqrt(np.max(np.diag(view.cov)[11:13])))
    ratio, ratio_sd = stretch(view)
    if abs(ratio) > max(0.004, 3 * ratio_sd) and doubt > 1.5e-3:
        yield Advice(
            kind=Weak.PRINT_WIDE if ratio > 0 else Weak.PRINT_HIGH,
            strong=False,
            amount=100 * abs(ratio),
            cost_mm=round(60 * abs(ratio), 2),
        )
    if doubt > 1.5e-3:
        yield Advice(
            kind=Weak.PRINT_DOUBTFUL,
            strong=False,
            amount=100 * doubt,
            cost_mm=round(60 * doubt, 2),
        )


def _hidden(sighting: Sighting) -> Iterator[Advice]:
    ring = sighting.n_expected - int(np.count_nonzero(sighting.sheet.in_bottom_band))
    seen = len(sighting.index) - sighting.n_bottom_band
    if seen < 0.6 * ring:
        yield Advice(
            kind=Weak.MARKS_HIDDEN,
            strong=False,
            count=seen,
            count_of=ring,
            cost_mm=0.05,
        )


def _flatness(view: View) -> Iterator[Advice]:
    rms_mm = view.rms_px / view.px_per_mm(np.zeros(2))
    if rms_mm > 0.05 and view.rms_px > 0.3:
        yield Advice(
            kind=Weak.NOT_FLAT,
            strong=rms_mm > 0.1,
            amount=rms_mm,
            cost_mm=round(2 * rms_mm, 2),
        )
    elif view.bow_mm > 0.8:
        yield Advice(
            kind=Weak.BOWED,
            strong=view.bow_mm > 2,
            amount=view.bow_mm,
            cost_mm=round(0.1 * view.bow_mm, 2),  # 60 mm at a plane that is off by half the bow, 500 mm away
        )
