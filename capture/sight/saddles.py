"""Sub-pixel fit of the checkerboard saddles, all at once, in the raw photo.

Model of the grey values round a saddle: the printed pattern (two black and two white quadrants, and the near
corners of the tags in the white ones), blurred by a Gaussian, under a linear change of light, seen through a
nearly known affine map. The pattern is point-symmetric about the saddle out to two tag modules, so blur, ink
gain and the camera's tone curve change its look but not its centre.

Fitted by Gauss-Newton with analytic derivatives; per saddle: place (2), affine correction (4), log blur (1),
brightness, contrast, slope of light (2) and one term for the tone curve.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Pixels, Single
from capture.sight.saddle_model import N_FIT, Windows, model_of
from capture.sight.tags import apply_h


@dataclass(frozen=True, slots=True)
class FitNumbers:
    """How saddles are fitted; judged by scatter and bias against known places (`bench_capture.py`).

    Attributes
    ----------
    window, plain_window : half window as a share of the square: inside the point-symmetric part of the
        pattern; the second where no tags are: all but the blur of the next crossing.
    smallest_px, largest_px, largest_grazing_px : bounds of the half window; at a low angle few rows of pixels
        carry the pattern, so more columns are taken.
    affine_sd : prior on the affine correction: lens distortion and curl change the local scale by a few per
        cent. log_blur_sd : prior on the blur about its first guess.
    sigma_floor_px : what the fit can hardly be better than: the eight-bit steps, the JPEG, the print itself.
    least_variance : of the residuals, grey levels squared: those of rounding.
    coarse_rounds, rounds : of the iteration on every second pixel, and on all.
    still_px, still_affine, still_blur, still_light : a saddle is done when nothing moves more than this (px;
        share; log; share of the contrast).
    step, step_affine, step_blur : largest change in one round: share of the square; share; log.
    reach, reach_affine : largest change altogether.
    least_blur_px, most_blur : bounds of the blur, px and share of the square.
    first_blur : first guess of the blur, share of the square, between the two `first_blur_px`.
    """

    window: float = 0.185
    plain_window: float = 0.42
    smallest_px: int = 4
    largest_px: int = 12
    largest_grazing_px: int = 24
    affine_sd: float = 0.04
    log_blur_sd: float = 1.5
    sigma_floor_px: float = 0.01
    least_variance: float = 0.1
    coarse_rounds: int = 3
    rounds: int = 10
    still_px: float = 2e-3
    still_affine: float = 0.004
    still_blur: float = 0.05
    still_light: float = 0.02
    step: float = 0.04
    step_affine: float = 0.1
    step_blur: float = 0.7
    reach: float = 0.2
    reach_affine: float = 0.15
    least_blur_px: float = 0.25
    most_blur: float = 0.12
    first_blur: float = 0.04
    first_blur_px: tuple[float, float] = (1.2, 3.0)


FIT: Final = FitNumbers()


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
    reach = (FIT.plain_window if plain else FIT.window) * square_mm
    largest = FIT.largest_grazing_px if grazing else FIT.largest_px
    widths = np.abs(jac).sum(axis=2)
    extent = np.median(widths if grazing else widths.max(axis=1), axis=0)
    half = np.clip(np.ceil(reach * np.broadcast_to(extent, 2)), FIT.smallest_px, largest).astype(int)  # x, y
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
        windows = Windows(values, mm.astype(np.float32), weight, sign[k], scale, sharper, tag, shape)
        fit = _gauss_newton(windows, square_mm, thin=not grazing)
        place = apply_h(H_img_sheet, xy_mm[k] + fit.theta[:, :2]) + lag[:, 0]
        px[k] = place
        cov = jac[k] @ fit.cov_mm2 @ np.swapaxes(jac[k], 1, 2)
        variance = np.trace(cov, axis1=1, axis2=2) / 2
        if grazing:  # the two directions are known very differently well
            variance = np.sqrt(np.maximum(np.linalg.det(cov), 0.0))
        sigma = np.sqrt(np.where(variance >= 0, variance, np.nan))  # a fit gone astray has no variance
        out["sigma_px"][k] = np.hypot(sigma, FIT.sigma_floor_px)
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


def _gauss_newton(windows: Windows, square_mm: float, *, thin: bool) -> _Fit:
    """Fit all windows together: coarsely on fewer pixels, then finely, each until it no longer moves."""
    n, n_pixels = windows.values.shape
    theta = np.zeros((n, N_FIT))
    low, high = np.percentile(windows.values, [10, 90], axis=1)
    least_px, most_px = FIT.first_blur_px
    blur_px = np.maximum(least_px, np.minimum(FIT.first_blur * square_mm * windows.px_per_mm, most_px))
    blur_mm = blur_px / windows.px_per_mm
    theta[:, 6] = np.log(blur_mm)
    theta[:, 7], theta[:, 8] = (low + high) / 2, np.maximum(high - low, 1)
    start = theta[:, 6].copy()
    coarse = windows.thinned() if thin else windows
    for _ in range(FIT.coarse_rounds):  # place and light only, under a wide blur
        theta, _, _, _ = _improved(theta, coarse, start, square_mm, frozen=True)
    normal = np.zeros((n, N_FIT, N_FIT))
    var = np.ones(n)
    residual = np.zeros((n, n_pixels), np.float32)
    active = np.arange(n)
    for _ in range(FIT.rounds):
        now = windows if len(active) == n else windows.some(active)
        moved, normal[active], var[active], residual[active] = _improved(
            theta[active], now, start[active], square_mm
        )
        step = np.abs(moved - theta[active])
        theta[active] = moved
        # Residuals are those before the step: a saddle is done when nothing that shapes them moves any more.
        light = step[:, [7, 8, 11]].max(axis=1) / np.maximum(np.abs(moved[:, 8]), 1)
        moving = (step[:, :2].max(axis=1) * now.px_per_mm > FIT.still_px) | (
            step[:, 2:6].max(axis=1) > FIT.still_affine
        )
        active = active[moving | (step[:, 6] > FIT.still_blur) | (light > FIT.still_light)]
        if len(active) == 0:
            break
    cov = np.linalg.inv(normal + np.diag(_prior() + 1e-9))[:, :2, :2] * _correlation(residual, windows.shape)
    return _Fit(theta, np.asarray(cov, dtype=float), np.asarray(np.sqrt(var), dtype=float))


def _prior() -> Array:
    """Precisions of the priors on the unknowns (12,): affine correction and log blur."""
    out = np.zeros(N_FIT)
    out[2:6] = 1 / FIT.affine_sd**2
    out[6] = 1 / FIT.log_blur_sd**2
    return out


def _improved(
    theta: Array, windows: Windows, blur0: Array, square_mm: float, *, frozen: bool = False
) -> tuple[Array, Array, Array, Single]:
    """One Gauss-Newton step: new unknowns; normal matrices, variances and residuals at the old ones."""
    model, jac = model_of(theta, windows)
    residual = (windows.values - model) * windows.weight
    var = np.sum(residual**2, axis=1) / np.maximum(windows.weight.sum(axis=1) - N_FIT, 1)
    var = var + FIT.least_variance
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
    delta[:, :2] = np.clip(delta[:, :2], -FIT.step * square_mm, FIT.step * square_mm)
    delta[:, 2:6] = np.clip(delta[:, 2:6], -FIT.step_affine, FIT.step_affine)
    delta[:, 6] = np.clip(delta[:, 6], -FIT.step_blur, FIT.step_blur)
    new = theta + delta
    new[:, :2] = np.clip(new[:, :2], -FIT.reach * square_mm, FIT.reach * square_mm)
    new[:, 2:6] = np.clip(new[:, 2:6], -FIT.reach_affine, FIT.reach_affine)
    new[:, 6] = np.clip(
        new[:, 6], np.log(FIT.least_blur_px / windows.px_per_mm), np.log(FIT.most_blur * square_mm)
    )
    return new, normal, np.asarray(var, dtype=float), residual


def _correlation(residual: Single, shape: tuple[int, int]) -> float:
    """Factor on the covariance for residuals that repeat their neighbours (demosaicing, JPEG)."""
    r = residual.reshape(-1, *shape)
    total = np.sum(r * r, axis=(1, 2)) + 1e-9
    right = np.sum(r[:, :, 1:] * r[:, :, :-1], axis=(1, 2)) / total
    down = np.sum(r[:, 1:] * r[:, :-1], axis=(1, 2)) / total
    return float((1 + 2 * max(np.median(right), 0)) * (1 + 2 * max(np.median(down), 0)))
