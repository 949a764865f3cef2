"""A dark line one card wide between lighter sides: what an inked near end looks like across.

A felt pen run along the near cut edges makes every near end a box of the ink's grey, exactly as wide as the
card, between the panel's face and what lies behind. Both sides may slope (light falls off along a face) and
differ; the camera blurs the whole. All of this is linear in the two sides' levels and slopes, so at every
place across, the best sides are found by least squares and what remains is compared:

* with the same sides and no ink: the DIP, which nothing but a dark line explains;
* where the background is as dark as ink, only the face's step is left: with the width known, it places the
  line all the same (EDGE), provided that the face lies on the side of the eye, as faces do.

The best accuracy that a line of known width allows is that of Cramer and Rao (Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, 1993, section 3.5: signals in white Gaussian noise):
variance >= sigma^2 / sum (ds/dx0)^2 over the samples; tests hold the fit against it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkLine:
    """What to look for across, all in mm of the measuring plane.

    Attributes
    ----------
    width_mm : width of the ink: the card's thickness.
    blur_mm : standard deviation of the photo's blur.
    level : grey value of ink, full scale = 1, linear light; black felt pen reflects some 2 to 4 %.
    half_mm : half width of the window compared.
    """

    width_mm: float
    blur_mm: float
    level: float = 0.02
    half_mm: float = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkLineNumbers:
    """Numbers of the comparison, found on path-traced photographs of inked dummies."""

    floor: float = 0.004
    """Noise floor, full scale = 1."""
    share: float = 0.015
    """Noise as a share of either side's level: paper's grain, and slopes that are not quite straight."""
    edge_share: float = 0.03
    """The same of the face's level where only the face's step is seen."""
    dark_times: float = 2.5
    """A background is as dark as ink up to so many times the ink's level ..."""
    dark_more: float = 0.02
    """... and so much more, full scale = 1."""
    face_more: float = 0.03
    """A face is brighter than the dark behind it by at least so much, full scale = 1."""
    shifts: tuple[float, ...] = (-0.5, -0.25, 0.0, 0.25, 0.5)
    """Where, in widths, a single step without ink is tried instead of the line."""


TUNED = DarkLineNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LineEvidence:
    """Evidence (S, K) of stations for a dark line at each offset, and what was fitted there.

    Attributes
    ----------
    offsets_mm : (K,).
    dip : log-likelihood ratio of the line against the same sides without it.
    edge : log-likelihood ratio of a face ending at a dark background, the line's width before it.
    misfit : mean squared remainder of the line's own fit.
    left, right : (S, K) levels of the sides right beside the line, at lower and at higher offsets.
    """

    offsets_mm: Array
    dip: Array
    edge: Array
    misfit: Array
    left: Array
    right: Array

    @property
    def either(self) -> Array:
        """The stronger of dip and edge."""
        out: Array = np.maximum(self.dip, self.edge)
        return out


def columns(x: Array, width_mm: float, blur_mm: float) -> tuple[Array, Array]:
    """Return sides (N, 4) (level, slope, twice) and the ink's share (N,) at distances x from the middle."""
    left = 1 - ndtr((x + width_mm / 2) / blur_mm)
    right = ndtr((x - width_mm / 2) / blur_mm)
    sides = np.column_stack([left, left * (x + width_mm / 2), right, right * (x - width_mm / 2)])
    return sides, 1 - left - right


def least_squares(windows: Array, basis: Array) -> tuple[Array, Array]:
    """Mean squared remainder (...) and coefficients (..., C) of windows (..., N) on a basis (N, C)."""
    q, r = np.linalg.qr(basis)
    on_q = windows @ q
    rest = np.einsum("...d,...d->...", windows, windows) - np.einsum("...c,...c->...", on_q, on_q)
    flat = np.linalg.solve(r, on_q.reshape(-1, basis.shape[1]).T).T
    return np.maximum(rest, 0.0) / windows.shape[-1], flat.reshape(on_q.shape)


def windows_of(strip: Array, half_samples: int) -> Array:
    """Windows (S, K, 2 half + 1) of a straightened strip (S, D)."""
    out: Array = np.lib.stride_tricks.sliding_window_view(strip, 2 * half_samples + 1, axis=1)
    return out


def dark_line_evidence(
    strip: Array, offsets_mm: Array, line: DarkLine, outer_sign: float, px_per_mm: float
) -> LineEvidence:
    """Look for a dark line at every offset of every station of a straightened strip.

    Parameters
    ----------
    strip : (S, D) linear grey values, D equally spaced offsets.
    outer_sign : +1 if the background side (away from the eye) lies at larger offsets, else -1.
    px_per_mm : scale of the photo, so that over-sampling does not count as more evidence.
    """
    step = float(offsets_mm[1] - offsets_mm[0])
    half = int(round(line.half_mm / step))
    x = np.linspace(-half * step, half * step, 2 * half + 1)
    windows = windows_of(np.asarray(strip, dtype=np.float64), half)
    sides, ink = columns(x, line.width_mm, line.blur_mm)
    misfit, coef = least_squares(windows - line.level * ink, sides)
    bare = np.full(misfit.shape, np.inf)
    for shift in TUNED.shifts:
        no_ink, _ = columns(x - shift * line.width_mm, 0.0, line.blur_mm)
        bare = np.minimum(bare, least_squares(windows, no_ink)[0])
    smooth, _ = least_squares(windows, np.column_stack([np.ones_like(x), x, x * x]))
    left, right = coef[..., 0], coef[..., 2]
    low, high = np.minimum(left, right), np.maximum(left, right)
    half_n = 0.5 * (2 * line.half_mm) * min(px_per_mm, 1 / step)
    noise = (TUNED.floor + TUNED.share * (np.maximum(low, 0) + np.maximum(high, 0))) ** 2
    dip = half_n * np.log((bare + noise) / (misfit + noise))
    noise = (TUNED.floor + TUNED.edge_share * np.maximum(high, 0)) ** 2
    edge = half_n * np.log((smooth + noise) / (misfit + noise))
    behind, face = (right, left) if outer_sign > 0 else (left, right)
    dark = behind < TUNED.dark_times * line.level + TUNED.dark_more
    return LineEvidence(
        offsets_mm=offsets_mm[half : len(offsets_mm) - half],
        dip=np.where(low > line.level, np.maximum(dip, 0.0), 0.0),
        edge=np.where(dark & (face > behind + TUNED.face_more), np.maximum(edge, 0.0), 0.0),
        misfit=misfit,
        left=left,
        right=right,
    )


def centre_sd(line: DarkLine, left: float, right: float, noise: float, step_mm: float) -> float:
    """Cramer-Rao bound of a line's place from one profile, mm.

    Sides level and known, width and blur known, white noise of that standard deviation in every sample,
    samples `step_mm` apart: sqrt(noise^2 / sum (ds/dx0)^2).
    """
    reach = line.width_mm / 2 + 6 * line.blur_mm
    x = np.arange(-reach, reach + step_mm / 2, step_mm)

    def bell(at: float) -> Array:
        out: Array = np.exp(-0.5 * ((x - at) / line.blur_mm) ** 2) / (line.blur_mm * np.sqrt(2 * np.pi))
        return out

    slope = (left - line.level) * bell(-line.width_mm / 2) - (right - line.level) * bell(line.width_mm / 2)
    return float(noise / np.sqrt(np.sum(slope**2)))
