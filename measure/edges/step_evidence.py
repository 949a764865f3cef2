"""Single edges across a straightened strip, such as those of a page: crests of the slope across."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from capture.arrays import Array, Single


@dataclass(frozen=True, slots=True, kw_only=True)
class StepNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    floor: float = 0.006
    """Full scale = 1: standard deviation of a step's height in the dark ..."""
    share: float = 0.025
    """... and what is added to it in the light, as a share of the grey value."""
    cap: float = 12.0
    """Log-likelihood units: a clear edge is a clear edge, a pen line must not outvote it by its contrast."""
    crest_mm: float = 0.15
    """No other crest counts within this: next to a strong edge everything is steep."""
    least_sigma_mm: float = 0.05
    """The slope is taken at half the photo's blur, but not at a finer scale than this."""


TUNED = StepNumbers()


def step_evidence(strip: Single, step_mm: float, blur_mm: float) -> Array:
    """Evidence (S, D) for an edge at every offset of a straightened strip, sampled every `step_mm`.

    The slope at the scale of the blur is turned into the height of a step that would cause it; crests only.
    """
    sigma = max(0.5 * blur_mm, TUNED.least_sigma_mm) / step_mm
    slope = gaussian_filter1d(strip.astype(np.float64), sigma, axis=1, order=1)
    height = np.abs(slope) * np.hypot(sigma, blur_mm / step_mm) * np.sqrt(2 * np.pi)
    window = 2 * int(round(TUNED.crest_mm / step_mm)) + 1
    crest = height >= maximum_filter1d(height, window, axis=1) - 1e-12
    noise = TUNED.floor + TUNED.share * np.asarray(strip, np.float64)
    llr = np.where(crest, 0.5 * (height / noise) ** 2, 0.0)
    out: Array = np.minimum(maximum_filter1d(llr, 3, axis=1), TUNED.cap)
    return out
