"""How strongly a profile across a line speaks for the near end of a card lying exactly there.

Across the near end of a panel the grey value runs: face of the card (smooth, on the side of the eye), the
cut edge (a stripe as wide as the card is thick), background (on the far side from the eye). What tells the
near end from shadows, far edges and printed lines is a PAIR of sharp steps one thickness apart. The score
is a likelihood ratio: how much worse the profile is explained when one of the two steps is left out while
everything smooth (a quadratic) and the other step may still adapt. Profiles hold linear light; the noise
floor keeps a faint texture in a dark corner from looking like proof.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from capture.arrays import Array, Single
from measure.edges.edge_evidence import Evidence, Template, capped


@dataclass(frozen=True, slots=True, kw_only=True)
class StripeNumbers:
    """Tuned numbers of a stripe between two steps, found on path-traced photographs; see also `Template`."""

    face_step_mm: float = 0.1
    """Stations are grouped by the width of their visible face in steps of this."""
    least_face_steps: int = 2
    """A face narrower than so many steps is part of the stripe."""
    middle_share: float = 0.25
    """The stripe's tone is taken within that share of its width from its middle ..."""
    middle_mm: float = 0.01
    """... and so much more, for rounding."""


TUNED = StripeNumbers()


def _orthonormal(columns: Array) -> Array:
    q, _ = np.linalg.qr(columns)
    out: Array = q
    return out


def near_end_evidence(
    strip: Single,
    offsets_mm: Array,
    template: Template,
    outer_sign: float,
    px_per_mm: float,
    face_mm: Array | None = None,
) -> Evidence:
    """Score every offset of every station of a straightened strip.

    Parameters
    ----------
    strip : (S, D) linear grey values, D equally spaced offsets.
    offsets_mm : (D,) the offsets.
    template : what to look for.
    outer_sign : +1 if the background side (away from the eye) lies at larger offsets, else -1.
    px_per_mm : image scale, so that over-sampling does not count as more evidence.
    face_mm : (S,) width at which the panel's face is seen beyond the stripe; where that is narrow the step at
        its far end is part of what explains the profile.
    """
    if outer_sign < 0:
        mirrored = near_end_evidence(strip[:, ::-1], -offsets_mm[::-1], template, 1.0, px_per_mm, face_mm)
        return Evidence(
            offsets_mm=-mirrored.offsets_mm[::-1],
            score=mirrored.score[:, ::-1],
            outer=mirrored.outer[:, ::-1],
            inner=mirrored.inner[:, ::-1],
            middle=mirrored.middle[:, ::-1],
            noise=mirrored.noise[:, ::-1],
        )
    h = float(offsets_mm[1] - offsets_mm[0])
    n = int(round(template.half_mm / h))
    x = np.linspace(-n * h, n * h, 2 * n + 1)
    raw = np.lib.stride_tricks.sliding_window_view(strip.astype(np.float64), len(x), axis=1)
    outer, inner, noise = (np.zeros(raw.shape[:2]) for _ in range(3))
    for width, rows in _by_face(face_mm, len(strip), template):
        outer[rows], inner[rows], noise[rows] = _two_steps(raw[rows], x, template, px_per_mm, h, width)
    return Evidence(
        offsets_mm=offsets_mm[n : len(offsets_mm) - n],
        score=capped(outer, inner, template.cap),
        outer=outer,
        inner=inner,
        middle=raw[..., np.abs(x) <= TUNED.middle_share * template.card_mm + TUNED.middle_mm].mean(axis=2),
        noise=noise,
    )


def _by_face(
    face_mm: Array | None, n_stations: int, template: Template
) -> list[tuple[float | None, NDArray[np.intp]]]:
    """Stations grouped by the width of their visible face; None where it does not matter."""
    if face_mm is None:
        return [(None, np.arange(n_stations))]
    grid = np.rint(face_mm / TUNED.face_step_mm).astype(int)
    far = template.half_mm - template.card_mm / 2 - 2 * template.blur_mm
    matters = (grid >= TUNED.least_face_steps) & (face_mm < far)
    groups: list[tuple[float | None, NDArray[np.intp]]] = []
    if not matters.all():
        groups.append((None, np.flatnonzero(~matters)))
    for k in np.unique(grid[matters]):
        groups.append((float(k) * TUNED.face_step_mm, np.flatnonzero(matters & (grid == k))))
    return groups


def _two_steps(
    raw: Array, x: Array, template: Template, px_per_mm: float, h: float, face_mm: float | None
) -> tuple[Array, Array, Array]:
    """Log-likelihood ratios (S, K) of the outer and of the inner step, each given all the rest; the noise."""
    smooth = [np.ones_like(x), x / template.half_mm, (x / template.half_mm) ** 2]
    outer = ndtr((x - template.card_mm / 2) / template.blur_mm)
    inner = ndtr((x + template.card_mm / 2) / template.blur_mm)
    if face_mm is not None:
        smooth.append(ndtr((x + template.card_mm / 2 + face_mm) / template.blur_mm))
    # In an orthonormal basis the last column is what nothing else explains.
    q_outer_last = _orthonormal(np.column_stack([*smooth, inner, outer]))
    q_inner_last = _orthonormal(np.column_stack([*smooth, outer, inner]))
    level = raw.mean(axis=2, keepdims=True)
    windows = raw - level
    coef = windows @ q_outer_last
    last_inner = (windows @ q_inner_last[:, -1:])[..., 0]
    n_eff = 2 * template.half_mm * min(px_per_mm, 1.0 / h)
    weight = n_eff / len(x)
    rest = np.maximum(np.einsum("skd,skd->sk", windows, windows) - np.sum(coef**2, axis=2), 0.0)
    # Noise and texture grow with the light: a faint step in the dark is worth a tall one in the sun.
    floor = template.floor + template.floor_share * level[..., 0]
    spread = rest * weight + n_eff * floor**2
    return (
        0.5 * n_eff * np.log1p(weight * coef[..., -1] ** 2 / spread),
        0.5 * n_eff * np.log1p(weight * last_inner**2 / spread),
        np.sqrt(spread / n_eff),
    )


def two_steps_everywhere(
    rows: Array, template: Template, per_mm: float, px_per_mm: float
) -> tuple[Array, Array]:
    """Log-likelihood ratios (R, D) of the step at lower offsets and of that at higher ones.

    The same test as `near_end_evidence`, written as correlations so that it can be asked of a whole picture
    at once: rows are places along a line, columns offsets across, `per_mm` of them a millimetre.
    """
    h = 1.0 / per_mm
    n = int(round(template.half_mm / h))
    x = np.linspace(-n * h, n * h, 2 * n + 1)
    smooth = [np.ones_like(x), x / template.half_mm, (x / template.half_mm) ** 2]
    low = ndtr((x + template.card_mm / 2) / template.blur_mm)
    high = ndtr((x - template.card_mm / 2) / template.blur_mm)
    q, _ = np.linalg.qr(np.column_stack([*smooth, low, high]))
    q_low, _ = np.linalg.qr(np.column_stack([*smooth, high, low]))

    def along(kernel: Array) -> Array:
        out = cv2.filter2D(rows, cv2.CV_64F, kernel[None, :], borderType=cv2.BORDER_REPLICATE)
        return np.asarray(out, dtype=np.float64)

    coef = [along(q[:, k]) for k in range(q.shape[1])]
    last_low = along(q_low[:, -1])
    level = coef[0] / (np.sqrt(len(x)) * np.sign(q[0, 0]))
    energy = np.asarray(
        cv2.filter2D(rows**2, cv2.CV_64F, np.ones((1, len(x))), borderType=cv2.BORDER_REPLICATE)
    )
    n_eff = 2 * template.half_mm * min(px_per_mm, per_mm)
    weight = n_eff / len(x)
    rest = np.maximum(energy - sum(c**2 for c in coef), 0.0)
    spread = rest * weight + n_eff * (template.floor + template.floor_share * level) ** 2
    return (
        0.5 * n_eff * np.log1p(weight * last_low**2 / spread),
        0.5 * n_eff * np.log1p(weight * coef[-1] ** 2 / spread),
    )
