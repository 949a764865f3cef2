"""Sub-pixel fit of the checkerboard saddles, all at once, in the raw photo.

Model of the grey values round a saddle: the printed pattern (two black and two white quadrants, and the near
corners of the tags in the white ones), blurred by a Gaussian, under a linear change of light, seen through a
nearly known affine map. The pattern is point-symmetric about the saddle out to two tag modules, so blur, ink
gain and the camera's tone curve change its look but not its centre.

Fitted by Gauss-Newton with analytic derivatives; per saddle: place (2), affine correction (4), log blur (1),
brightness, contrast, slope of light (2) and one term for the tone curve.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels, Single
from capture.sight.tags import apply_h

N_FIT: Final = 12
_AFFINE_SD: Final = 0.04
"""Prior on the affine correction: lens distortion and curl change the local scale by a few per cent."""

_WINDOW_MM: Final = 0.185
"""Half window as a share of the square: inside the point-symmetric part of the pattern."""

_PLAIN_WINDOW_MM: Final = 0.42
"""The same where no tags are: all but the blur of the next crossing."""

_LARGEST_WINDOW_PX: Final = 12
_LARGEST_GRAZING_PX: Final = 24
"""At a low angle few rows of pixels carry the pattern, so more columns are taken."""

_FAR_MM: Final = 1e4

_SIGMA_FLOOR_PX: Final = 0.01
"""What the fit can hardly be better than: the eight-bit steps, the JPEG, the print itself."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SaddleFits:
    """One row per saddle that was tried.

    Attributes
    ----------
    px : (N, 2) fitted places.
    sigma_px : (N,) standard uncertainty per axis.
    shift_px : (N,) distance from the predicted place.
    blur_px : (N,) standard deviation of the blur.
    contrast : (N,) white minus black, grey levels (negative: the pattern is inverted).
    white : (N,) grey level of white at the saddle.
    misfit : (N,) rms residual as a share of the contrast.
    inside : (N,) False where the window leaves the picture (other values are nan there).
    """

    px: Array
    sigma_px: Array
    shift_px: Array
    blur_px: Array
    contrast: Array
    white: Array
    misfit: Array
    inside: NDArray[np.bool_]


def fit_saddles(
    grey: Pixels,
    H_img_sheet: Array,
    xy_mm: Array,
    predicted_px: Array,
    sign: Array,
    square_mm: float,
    *,
    grazing: bool = False,
    plain: bool = False,
) -> SaddleFits:
    """Fit every saddle from its predicted place.

    Parameters
    ----------
    grey : (H, W) photo.
    H_img_sheet : (3, 3) pixels <- nominal mm, for the local shape of the pattern.
    xy_mm : (N, 2) saddles on the sheet, nominal mm.
    predicted_px : (N, 2) where they should be, good to about a tenth of a square.
    sign : (N,) +1 where the quadrant up and right is black.
    square_mm : side of the squares.
    grazing : the target is seen at a low angle: blur that is round in the picture is not so on the target.
    plain : no tags lie in the white squares, so that the pattern is point-symmetric much farther out.
    """
    n = len(xy_mm)
    base = apply_h(H_img_sheet, xy_mm)
    step = 0.05 * square_mm
    jac = np.stack([(apply_h(H_img_sheet, xy_mm + d) - base) / step for d in step * np.eye(2)], axis=2)
    reach = (_PLAIN_WINDOW_MM if plain else _WINDOW_MM) * square_mm
    largest = _LARGEST_GRAZING_PX if grazing else _LARGEST_WINDOW_PX
    widths = np.abs(jac).sum(axis=2)
    extent = np.median(widths if grazing else widths.max(axis=1), axis=0)
    half = np.clip(np.ceil(reach * np.broadcast_to(extent, 2)), 4, largest).astype(int)  # x, y
    centre = np.rint(np.nan_to_num(predicted_px, nan=-1e6, posinf=-1e6, neginf=-1e6)).astype(np.int64)
    h, w = grey.shape
    inside = (centre >= half + 1).all(axis=1) & (centre < np.array([w, h]) - half - 1).all(axis=1)
    out = {
        key: np.full(n, np.nan) for key in ("sigma_px", "shift_px", "blur_px", "contrast", "white", "misfit")
    }
    px = np.full((n, 2), np.nan)
    if inside.any():
        k = np.flatnonzero(inside)
        sides = 2 * half + 1
        dx, dy = (a.ravel() for a in np.meshgrid(*(np.arange(side) - side // 2 for side in sides)))
        values = grey[centre[k, 1, None] + dy, centre[k, 0, None] + dx].astype(np.float32)
        pixels = centre[k, None, :] + np.stack([dx, dy], axis=-1)[None]
        lag = (predicted_px - base)[k, None, :]
        mm = apply_h(np.asarray(np.linalg.inv(H_img_sheet), dtype=float), pixels - lag) - xy_mm[k, None, :]
        scale = np.sqrt(np.abs(np.linalg.det(jac[k])))
        weight = (np.abs(mm).max(axis=2) < reach).astype(np.float32)
        sharper = np.ones((len(k), 2), np.float32)
        if grazing:
            spread = np.linalg.norm(np.linalg.inv(jac[k]), axis=2) * scale[:, None]
            sharper = (1 / spread).astype(np.float32)
        tag = np.inf if plain else 0.1 * square_mm
        shape = (int(sides[1]), int(sides[0]))
        windows = _Windows(values, mm.astype(np.float32), weight, sign[k], scale, sharper, tag, shape)
        fit = _gauss_newton(windows, square_mm, thin=not grazing)
        place = apply_h(H_img_sheet, xy_mm[k] + fit.theta[:, :2]) + lag[:, 0]
        px[k] = place
        cov = jac[k] @ fit.cov_mm2 @ np.swapaxes(jac[k], 1, 2)
        variance = np.trace(cov, axis1=1, axis2=2) / 2
        if grazing:  # the two directions are known very differently well
            variance = np.sqrt(np.maximum(np.linalg.det(cov), 0.0))
        sigma = np.sqrt(np.where(variance >= 0, variance, np.nan))  # a fit gone astray has no variance
        out["sigma_px"][k] = np.hypot(sigma, _SIGMA_FLOOR_PX)
        out["shift_px"][k] = np.linalg.norm(place - predicted_px[k], axis=1)
        out["blur_px"][k] = np.exp(fit.theta[:, 6]) * scale
        out["contrast"][k] = fit.theta[:, 8]
        out["white"][k] = fit.theta[:, 7] + fit.theta[:, 8] / 2
        out["misfit"][k] = fit.rms / np.maximum(np.abs(fit.theta[:, 8]), 1e-3)
    return SaddleFits(px=px, inside=inside, **out)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    theta: Array  # (N, 12): u, v, four affine, log blur (mm), offset, contrast, two slopes, tone
    cov_mm2: Array  # (N, 2, 2) of u, v
    rms: Array  # (N,) grey levels


@dataclass(frozen=True, slots=True, eq=False)
class _Windows:
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

    def some(self, rows: NDArray[np.intp]) -> "_Windows":
        return _Windows(
            self.values[rows],
            self.mm[rows],
            self.weight[rows],
            self.sign[rows],
            self.px_per_mm[rows],
            self.sharper[rows],
            self.tag,
            self.shape,
        )

    def thinned(self) -> "_Windows":
        """Every second pixel both ways."""
        pick = np.arange(self.values.shape[1]).reshape(self.shape)[::2, ::2].ravel()
        return replace(self, values=self.values[:, pick], mm=self.mm[:, pick], weight=self.weight[:, pick])


def _gauss_newton(windows: _Windows, square_mm: float, *, thin: bool) -> _Fit:
    """Fit all windows together: coarsely on fewer pixels, then finely, each until it no longer moves."""
    n, n_pixels = windows.values.shape
    theta = np.zeros((n, N_FIT))
    low, high = np.percentile(windows.values, [10, 90], axis=1)
    blur_mm = np.maximum(1.2, np.minimum(0.04 * square_mm * windows.px_per_mm, 3.0)) / windows.px_per_mm
    theta[:, 6] = np.log(blur_mm)
    theta[:, 7], theta[:, 8] = (low + high) / 2, np.maximum(high - low, 1)
    start = theta[:, 6].copy()
    coarse = windows.thinned() if thin else windows
    for _ in range(3):  # place and light only, under a wide blur
        theta, _, _, _ = _improved(theta, coarse, start, square_mm, frozen=True)
    normal = np.zeros((n, N_FIT, N_FIT))
    var = np.ones(n)
    residual = np.zeros((n, n_pixels), np.float32)
    active = np.arange(n)
    for _ in range(10):
        now = windows if len(active) == n else windows.some(active)
        moved, normal[active], var[active], residual[active] = _improved(
            theta[active], now, start[active], square_mm
        )
        step = np.abs(moved - theta[active])
        theta[active] = moved
        # Residuals are those before the step: a saddle is done when nothing that shapes them moves any more.
        light = step[:, [7, 8, 11]].max(axis=1) / np.maximum(np.abs(moved[:, 8]), 1)
        moving = (step[:, :2].max(axis=1) * now.px_per_mm > 2e-3) | (step[:, 2:6].max(axis=1) > 0.004)
        active = active[moving | (step[:, 6] > 0.05) | (light > 0.02)]
        if len(active) == 0:
            break
    cov = np.linalg.inv(normal + np.diag(_prior() + 1e-9))[:, :2, :2] * _correlation(residual, windows.shape)
    return _Fit(theta, np.asarray(cov, dtype=float), np.asarray(np.sqrt(var), dtype=float))


def _prior() -> Array:
    """Precisions of the priors on the unknowns (12,): affine correction and log blur."""
    out = np.zeros(N_FIT)
    out[2:6] = 1 / _AFFINE_SD**2
    out[6] = 1 / 1.5**2
    return out


def _improved(
    theta: Array, windows: _Windows, blur0: Array, square_mm: float, *, frozen: bool = False
) -> tuple[Array, Array, Array, Single]:
    """One Gauss-Newton step: new unknowns; normal matrices, variances and residuals at the old ones."""
    model, jac = _model(theta, windows)
    residual = (windows.values - model) * windows.weight
    var = np.sum(residual**2, axis=1) / np.maximum(windows.weight.sum(axis=1) - N_FIT, 1) + 0.1
    weighted = jac * windows.weight[:, None, :]
    normal = (weighted @ np.swapaxes(jac, 1, 2)).astype(float) / var[:, None, None]
    right = (weighted @ residual[:, :, None])[:, :, 0].astype(float) / var[:, None]
    pull = theta.copy()
    pull[:, 6] -= blur0
    lhs = normal + np.diag(_prior() + 1e-9)
    if frozen:
        held = np.array([2, 3, 4, 5, 6, 11])
        lhs[:, held, held] += 1e12
    delta = np.linalg.solve(lhs, (right - _prior() * pull)[:, :, None])[:, :, 0]
    delta[:, :2] = np.clip(delta[:, :2], -0.04 * square_mm, 0.04 * square_mm)
    delta[:, 2:6] = np.clip(delta[:, 2:6], -0.1, 0.1)
    delta[:, 6] = np.clip(delta[:, 6], -0.7, 0.7)
    new = theta + delta
    new[:, :2] = np.clip(new[:, :2], -0.2 * square_mm, 0.2 * square_mm)
    new[:, 2:6] = np.clip(new[:, 2:6], -0.15, 0.15)
    new[:, 6] = np.clip(new[:, 6], np.log(0.25 / windows.px_per_mm), np.log(0.12 * square_mm))
    return new, normal, np.asarray(var, dtype=float), residual


def _correlation(residual: Single, shape: tuple[int, int]) -> float:
    """Factor on the covariance for residuals that repeat their neighbours (demosaicing, JPEG)."""
    r = residual.reshape(-1, *shape)
    total = np.sum(r * r, axis=(1, 2)) + 1e-9
    right = np.sum(r[:, :, 1:] * r[:, :, :-1], axis=(1, 2)) / total
    down = np.sum(r[:, 1:] * r[:, :-1], axis=(1, 2)) / total
    return float((1 + 2 * max(np.median(right), 0)) * (1 + 2 * max(np.median(down), 0)))


def _model(theta: Array, windows: _Windows) -> tuple[Single, Single]:
    """Grey values (N, P) and their derivatives (N, 12, P)."""
    mm, sign = windows.mm, windows.sign
    t = theta.astype(np.float32)[:, :, None]
    mu, mv = mm[:, :, 0] - t[:, 0], mm[:, :, 1] - t[:, 1]
    u = (1 + t[:, 2]) * mu + t[:, 3] * mv
    v = t[:, 4] * mu + (1 + t[:, 5]) * mv
    inv = np.exp(-t[:, 6])
    along_u, along_v = windows.sharper[:, :1], windows.sharper[:, 1:]
    inv_u, inv_v = inv * along_u, inv * along_v
    tag = np.float32(min(windows.tag, _FAR_MM))
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
