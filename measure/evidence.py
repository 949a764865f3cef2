"""How strongly a profile across a line speaks for the near end of a card lying exactly there.

Across the near end of a panel the grey value runs: face of the card (smooth, on the side of the eye), the
cut edge (a stripe as wide as the card is thick), background (on the far side from the eye). What tells the
near end from shadows, far edges and printed lines is a PAIR of sharp steps one thickness apart. The score
is a likelihood ratio: how much worse the profile is explained when one of the two steps is left out while
everything smooth (a quadratic) and the other step may still adapt. Profiles hold linear light; the noise
floor keeps a faint texture in a dark corner from looking like proof.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """What a near end looks like across: all in mm.

    Attributes
    ----------
    card_mm : thickness of the card.
    blur_mm : standard deviation of the photo's blur.
    half_mm : half width of the window compared.
    floor : noise floor, full scale = 1.
    cap : no single profile may count more than this (log-likelihood units).
    """

    card_mm: float
    blur_mm: float
    half_mm: float = 1.5
    floor: float = 0.008
    cap: float = 40.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """Scores (S, K) of each station for a near end at each of K offsets.

    Attributes
    ----------
    offsets_mm : (K,) offsets scored.
    score : (S, K) combined score.
    outer, inner : (S, K) log-likelihood ratios of the step on the background side and on the face side.
    outer_step : (S, K) signed height of the background-side step, background minus card.
    middle : (S, K) mean grey value over the middle half of the stripe.
    """

    offsets_mm: Array
    score: Array
    outer: Array
    inner: Array
    outer_step: Array
    middle: Array


def _orthonormal(columns: Array) -> Array:
    q, _ = np.linalg.qr(columns)
    out: Array = q
    return out


def near_end_evidence(
    strip: NDArray[np.float32], offsets_mm: Array, template: Template, outer_sign: float, px_per_mm: float
) -> Evidence:
    """Score every offset of every station of a straightened strip.

    Parameters
    ----------
    strip : (S, D) linear grey values, D equally spaced offsets.
    offsets_mm : (D,) the offsets.
    template : what to look for.
    outer_sign : +1 if the background side (away from the eye) lies at larger offsets, else -1.
    px_per_mm : image scale, so that over-sampling does not count as more evidence.
    """
    if outer_sign < 0:
        mirrored = near_end_evidence(strip[:, ::-1], -offsets_mm[::-1], template, 1.0, px_per_mm)
        return Evidence(
            offsets_mm=-mirrored.offsets_mm[::-1],
            score=mirrored.score[:, ::-1],
            outer=mirrored.outer[:, ::-1],
            inner=mirrored.inner[:, ::-1],
            outer_step=mirrored.outer_step[:, ::-1],
            middle=mirrored.middle[:, ::-1],
        )
    h = float(offsets_mm[1] - offsets_mm[0])
    n = int(round(template.half_mm / h))
    x = np.arange(-n, n + 1) * h
    smooth = np.column_stack([np.ones_like(x), x / template.half_mm, (x / template.half_mm) ** 2])
    outer = ndtr((x - template.card_mm / 2) / template.blur_mm)[:, None]
    inner = ndtr((x + template.card_mm / 2) / template.blur_mm)[:, None]
    full = np.hstack([smooth, inner, outer])
    q_full = _orthonormal(full)  # its last column is the outer step after everything else
    q_no_inner = _orthonormal(np.hstack([smooth, outer, inner]))
    raw = np.lib.stride_tricks.sliding_window_view(strip.astype(np.float64), len(x), axis=1)
    windows = raw - raw.mean(axis=2, keepdims=True)
    total = np.einsum("skd,skd->sk", windows, windows)
    coef = windows @ q_full
    last_outer = coef[..., -1]
    last_inner = (windows @ q_no_inner[:, -1:])[..., 0]
    rest = np.maximum(total - np.sum(coef**2, axis=2), 0.0)
    n_eff = 2 * template.half_mm * min(px_per_mm, 1.0 / h)
    weight = n_eff / len(x)
    ss = rest * weight + n_eff * template.floor**2
    llr_outer = 0.5 * n_eff * np.log1p(weight * last_outer**2 / ss)
    llr_inner = 0.5 * n_eff * np.log1p(weight * last_inner**2 / ss)
    # Height of the step itself: the last orthonormal column is the step's part that nothing else explains.
    gain = float(q_full[:, -1] @ outer[:, 0])
    return Evidence(
        offsets_mm=offsets_mm[n : len(offsets_mm) - n],
        score=np.minimum(llr_outer, template.cap) + 0.5 * np.minimum(llr_inner, template.cap),
        outer=llr_outer,
        inner=llr_inner,
        outer_step=last_outer / gain,
        middle=raw[..., np.abs(x) <= template.card_mm / 4 + 0.01].mean(axis=2),
    )


def softened(llr: Array, scale: float = 20.0) -> Array:
    """Log-likelihoods with diminishing returns, so that no single station decides, yet more stays more."""
    out: Array = scale * np.log1p(llr / scale)
    return out
