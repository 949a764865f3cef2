"""Exact profiles across the near end of a card, shared by the tests of the measure room."""

import numpy as np
from scipy.stats import norm

from capture.arrays import Array


def ramp_of_steps(x: Array, edges: Array, levels: Array, blur: float, width: float) -> Array:
    """Piecewise constant light, blurred by a Gaussian and integrated exactly over samples of a width.

    Parameters
    ----------
    x : (N,) centres of the samples.
    edges, levels : (K,) places where the light changes, (K + 1,) its values between them.
    blur : standard deviation of the blur; width : of a sample (same unit as x).
    """

    def integral(t: Array) -> Array:  # of the normal distribution function
        return t * norm.cdf(t) + norm.pdf(t)

    out = np.full(x.shape, float(levels[0]))
    for edge, step in zip(edges, np.diff(levels), strict=True):
        t = (x - edge) / blur
        half = width / 2 / blur
        out += step * (integral(t + half) - integral(t - half)) / (2 * half)
    return out


def top_of_parabola(x: Array, y: Array) -> float:
    """Place of the maximum of equally spaced values, by the parabola through the three highest."""
    k = int(np.argmax(y))
    assert 0 < k < len(y) - 1, "the maximum lies at the rim"
    bend = y[k - 1] - 2 * y[k] + y[k + 1]
    return float(x[k] + (x[1] - x[0]) * 0.5 * (y[k - 1] - y[k + 1]) / bend)
