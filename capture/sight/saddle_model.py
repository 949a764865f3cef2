"""What the grey values round a saddle should be, and how they change with each unknown."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Single

N_FIT: Final = 12
"""Unknowns of a saddle: place (2), affine correction (4), log blur, brightness, contrast, slope of light (2),
tone curve."""

FAR_MM: Final = 1e4
"""Where tags are that are none: no pixel of a window sees them."""


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Grey values (N, P), sheet mm (N, P, 2) from the predicted saddle, weights (N, P); per saddle (N,).

    `sharper` (N, 2) is the mean blur over that along x and y of the target; `tag` the distance of the tags'
    corners from the saddle, mm; `shape` (rows, columns) of the P pixels.
    """

    values: Single
    mm: Single
    weight: Single
    sign: Array
    px_per_mm: Array
    sharper: Single
    tag: float
    shape: tuple[int, int]

    def some(self, rows: NDArray[np.intp]) -> "Windows":
        """Return those of some saddles."""
        return Windows(
            self.values[rows],
            self.mm[rows],
            self.weight[rows],
            self.sign[rows],
            self.px_per_mm[rows],
            self.sharper[rows],
            self.tag,
            self.shape,
        )

    def thinned(self) -> "Windows":
        """Return every second pixel both ways."""
        pick = np.arange(self.values.shape[1]).reshape(self.shape)[::2, ::2].ravel()
        return replace(self, values=self.values[:, pick], mm=self.mm[:, pick], weight=self.weight[:, pick])


def model_of(theta: Array, windows: Windows) -> tuple[Single, Single]:
    """Return grey values (N, P) and their derivatives (N, 12, P)."""
    mm, sign = windows.mm, windows.sign
    t = theta.astype(np.float32)[:, :, None]
    mu, mv = mm[:, :, 0] - t[:, 0], mm[:, :, 1] - t[:, 1]
    u = (1 + t[:, 2]) * mu + t[:, 3] * mv
    v = t[:, 4] * mu + (1 + t[:, 5]) * mv
    inv = np.exp(-t[:, 6])
    along_u, along_v = windows.sharper[:, :1], windows.sharper[:, 1:]
    inv_u, inv_v = inv * along_u, inv * along_v
    tag = np.float32(min(windows.tag, FAR_MM))
    eu, gu = _step(u * inv_u)
    ev, gv = _step(v * inv_v)
    up, gup = _step((u - tag) * inv_u)
    um, gum = _step((-u - tag) * inv_u)
    vp, gvp = _step((v - tag) * inv_v)
    vm, gvm = _step((-v - tag) * inv_v)
    same = (sign > 0)[:, None]  # the tags' corners lie where u and v differ in sign
    va, vb = np.where(same, vm, vp), np.where(same, vp, vm)
    gva, gvb = np.where(same, -gvm, gvp), np.where(same, gvp, -gvm)
    s = sign.astype(np.float32)[:, None]
    white = 0.5 * (1 - s * (2 * eu - 1) * (2 * ev - 1)) - up * va - um * vb
    d_u = (-s * gu * (2 * ev - 1) - gup * va + gum * vb) * inv_u
    d_v = (-s * (2 * eu - 1) * gv - up * gva - um * gvb) * inv_v
    pu, pm = (u - tag) * gup * along_u, (u + tag) * gum * along_u
    qm, qp = -(v + tag) * gvm * along_v, (v - tag) * gvp * along_v
    qa, qb = np.where(same, qm, qp), np.where(same, qp, qm)
    by_quadrants = s * (u * along_u * gu * (2 * ev - 1) + (2 * eu - 1) * (v * along_v) * gv)
    d_blur = inv * (by_quadrants + pu * va - pm * vb + up * qa + um * qb)
    bright = white - 0.5
    gain = t[:, 8] + 2 * t[:, 11] * bright
    model = t[:, 7] + t[:, 8] * bright + t[:, 9] * mu + t[:, 10] * mv + t[:, 11] * (bright * bright - 0.25)
    gd_u, gd_v = gain * d_u, gain * d_v
    jac = np.empty((len(theta), N_FIT, mm.shape[1]), np.float32)
    jac[:, 0] = -(gd_u * (1 + t[:, 2]) + gd_v * t[:, 4]) - t[:, 9]
    jac[:, 1] = -(gd_u * t[:, 3] + gd_v * (1 + t[:, 5])) - t[:, 10]
    jac[:, 2], jac[:, 3] = gd_u * mu, gd_u * mv
    jac[:, 4], jac[:, 5] = gd_v * mu, gd_v * mv
    jac[:, 6] = gain * d_blur
    jac[:, 7] = 1
    jac[:, 8], jac[:, 9], jac[:, 10] = bright, mu, mv
    jac[:, 11] = bright * bright - 0.25
    return model.astype(np.float32), jac


def _step(x: Single) -> tuple[Single, Single]:
    """Return the normal distribution function and density in single precision.

    erf after Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 7.1.26: error below 1.5e-7.
    """
    z = np.abs(x) * np.float32(np.sqrt(0.5))
    e = np.exp(-z * z)
    t = 1 / (1 + np.float32(0.3275911) * z)
    poly = np.full_like(t, 1.061405429)
    for c in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        poly = poly * t + np.float32(c)
    tail = np.float32(0.5) * poly * t * e
    return np.where(x > 0, 1 - tail, tail), e * np.float32(1 / np.sqrt(2 * np.pi))
