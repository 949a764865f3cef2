"""The upper edge of an inked near end under a bright face: a plane's, a gluing tab's.

From above, a face that lies flat is seen right down to its near end, and the step from the bright face to the
ink is there whatever lies below: a second card, a page's dark edge, a contact shadow.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.dark_line import DarkLine, least_squares
from measure.edges.stations import STATION_MM
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane, strip_along


@dataclass(frozen=True, slots=True, kw_only=True)
class UpperEdgeNumbers:
    """Numbers of the comparison; found on path-traced photographs of inked dummies."""

    above_mm: float = 0.6
    below_mm: float = 0.3
    """Stretch across that is compared: face above the edge, ink below it, and not more than ..."""
    below_share: float = 0.8
    """... this share of a card."""
    floor: float = 0.004
    share: float = 0.02
    """Noise: so much, and that share of the face's level."""
    dark_share: float = 0.35
    """Ink is darker than this share of the face ..."""
    dark_times: float = 2.5
    """... and than so many times its own level ..."""
    dark_more: float = 0.04
    """... and so much more, full scale = 1."""
    least_face: float = 0.05


TUNED = UpperEdgeNumbers()


def upper_edge(
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    up: float,
    line: DarkLine,
    reach_mm: float,
    step_mm: float,
) -> tuple[Array, Array, Array]:
    """Look for a bright face that ends in ink, up to a reach across a curve.

    Parameters
    ----------
    stations : (S,) along the curve. up : +1 if up is to the left of it, else -1.

    Returns
    -------
    Offsets (K,) UP from the curve, evidence (S, K) for the face ending there, and the mean squared misfit.
    """
    n_below = int(round(min(TUNED.below_share * line.width_mm, TUNED.below_mm) / step_mm))
    n_above = int(round(TUNED.above_mm / step_mm))
    n = int(np.ceil(reach_mm / step_mm)) + max(n_below, n_above) + 1
    offsets = np.linspace(-n * step_mm, n * step_mm, 2 * n + 1)
    smear = STATION_MM if len(stations) < 2 else float(stations[1] - stations[0]) * curve.length
    strip = strip_along(plane, curve, stations, up * offsets, smear, 3).astype(np.float64)
    x = np.arange(-n_below, n_above + 1) * step_mm
    windows = np.lib.stride_tricks.sliding_window_view(strip, len(x), axis=1)
    face = ndtr(x / line.blur_mm)
    misfit, coef = least_squares(windows, np.column_stack([face, face * x, 1 - face]))
    smooth, _ = least_squares(windows, np.column_stack([np.ones_like(x), x]))
    bright, dark = coef[..., 0], coef[..., 2]
    scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
    half_n = 0.5 * (x[-1] - x[0]) * min(scale, 1 / step_mm)
    noise = (TUNED.floor + TUNED.share * np.maximum(bright, 0)) ** 2
    evidence = half_n * np.log((smooth + noise) / (misfit + noise))
    ink = (dark < TUNED.dark_share * bright) & (dark < TUNED.dark_times * line.level + TUNED.dark_more)
    evidence = np.where(ink & (bright > TUNED.least_face), np.maximum(evidence, 0.0), 0.0)
    return offsets[n_below : len(offsets) - n_above], evidence, misfit
