"""Robust least squares for `capture.adjust`: the model of the saddles, its derivatives, and the iteration.

The unknowns are the 13 of `capture.view.PARAMS` and the three bows of the sheet, 16 in all.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import SheetError
from capture.sighting import FEWEST_SADDLES
from capture.view import PARAMS

Array = NDArray[np.float64]

N_VIEW: Final = len(PARAMS)
N_ALL: Final = N_VIEW + 3
_ROBUST_K: Final = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """What the unknowns have to explain.

    Attributes
    ----------
    xy_mm : (M, 2) nominal places on the sheet.
    px : (M, 2) seen places.
    sigma : (M,) their standard uncertainty per axis, px.
    shapes : (M, 3) height of the sheet at each saddle per mm of each bow.
    prior, prior_sd : (16,) expected unknowns and their standard uncertainties (inf = none).
    """

    xy_mm: Array
    px: Array
    sigma: Array
    shapes: Array
    prior: Array
    prior_sd: Array

    def some(self, keep: NDArray[np.bool_]) -> "Problem":
        """Return the same problem with some of the saddles (mask (M,))."""
        return Problem(
            self.xy_mm[keep], self.px[keep], self.sigma[keep], self.shapes[keep], self.prior, self.prior_sd
        )


def first_guess(problem: Problem, h: Array) -> Array:
    """Pose from the homography at the prior focal length, and at a few others where f is not known."""
    known = problem.prior_sd[6] < 0.2
    best: Array | None = None
    best_cost = np.inf
    for factor in (1.0,) if known else (0.55, 1.0, 1.8):
        params = problem.prior.copy()
        params[6] += np.log(factor)
        params[:6] = _pose(h, params)
        params = _adjust(problem, params, steps=12)
        cost = _cost(params, problem)
        if cost < best_cost:
            best, best_cost = params, cost
    if best is None:  # every start was not finite
        raise SheetError("the camera's place cannot be worked out from the sheet; photograph it again")
    return best


def _pose(h: Array, params: Array) -> Array:
    """Rotation vector and translation (6,) that best explain a homography at a given focal length."""
    k = np.array([[np.exp(params[6]), 0, params[9]], [0, np.exp(params[6]), params[10]], [0, 0, 1]])
    m = np.linalg.solve(k, h)
    m = m / np.sqrt(np.linalg.norm(m[:, 0]) * np.linalg.norm(m[:, 1]))
    if m[2, 2] < 0:  # the sheet lies before the camera
        m = -m
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]))
    rot = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    return np.concatenate([cv2.Rodrigues(rot)[0].ravel(), m[:, 2]])


def residuals(params: Array, problem: Problem) -> tuple[Array, Array]:
    """Residuals (2M,), seen minus predicted, and derivatives (2M, 16) of the prediction."""
    n = len(problem.xy_mm)
    rot, d_rot = cv2.Rodrigues(params[:3])  # d_rot: (3, 9), row i = d R / d r_i, row-major
    x = np.column_stack([problem.xy_mm * np.exp(params[11:13]), problem.shapes @ params[N_VIEW:]])
    cam = x @ rot.T + params[3:6]
    inv_z = 1 / cam[:, 2]
    xn = cam[:, :2] * inv_z[:, None]
    r2 = np.sum(xn**2, axis=1)
    focal, k1, k2 = np.exp(params[6]), params[7], params[8]
    stretch = 1 + k1 * r2 + k2 * r2**2
    predicted = focal * xn * stretch[:, None] + params[9:11]
    # d pixel / d xn = f (stretch I + 2 (k1 + 2 k2 r2) xn xn^T); d xn / d cam = [I | -xn] / z
    d_xn = focal * (
        stretch[:, None, None] * np.eye(2)
        + (2 * (k1 + 2 * k2 * r2))[:, None, None] * xn[:, :, None] * xn[:, None, :]
    )
    d_cam = np.concatenate([d_xn, -(d_xn @ xn[:, :, None])], axis=2) * inv_z[:, None, None]
    jac = np.zeros((n, 2, N_ALL))
    d_rot = np.asarray(d_rot).reshape(3, 3, 3)
    jac[:, :, :3] = d_cam @ np.einsum("ijk,nk->nji", d_rot, x)
    jac[:, :, 3:6] = d_cam
    jac[:, :, 6] = focal * xn * stretch[:, None]
    jac[:, :, 7] = focal * xn * r2[:, None]
    jac[:, :, 8] = focal * xn * (r2**2)[:, None]
    jac[:, :, 9:11] = np.eye(2)
    jac[:, :, 11] = (d_cam @ rot[:, 0]) * x[:, 0, None]
    jac[:, :, 12] = (d_cam @ rot[:, 1]) * x[:, 1, None]
    jac[:, :, N_VIEW:] = (d_cam @ rot[:, 2])[:, :, None] * problem.shapes[:, None, :]
    return (problem.px - predicted).ravel(), jac.reshape(2 * n, -1)


def _robust_scale(norm: Array) -> float:
    """Scale of normalised residual lengths: 1 if they are as large as claimed (Rayleigh median 1.177)."""
    return max(1.0, float(np.median(norm)) / 1.177)


def _weights(residual: Array, problem: Problem) -> Array:
    """Soft-L1 weights per saddle: full weight to `_ROBUST_K` sigma, falling as 1/distance beyond."""
    norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
    out: Array = 1 / np.sqrt(1 + (norm / (_ROBUST_K * _robust_scale(norm))) ** 2)
    return out


def _cost(params: Array, problem: Problem) -> float:
    residual, _ = residuals(params, problem)
    norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
    soft = 2 * _ROBUST_K**2 * (np.sqrt(1 + (norm / _ROBUST_K) ** 2) - 1)
    cost = float(np.sum(soft) + np.sum(((params - problem.prior) / problem.prior_sd) ** 2))
    return cost if np.isfinite(cost) else np.inf


def _adjust(problem: Problem, params: Array, steps: int = 150) -> Array:
    """Levenberg-Marquardt with soft-L1 weights recomputed at every step.

    The steps are taken in other coordinates than `PARAMS`, in which the long valley between distance and
    focal length is nearly straight: a small turn of the sheet about its own middle, the pixel of that middle,
    the log of the scale there; the others unchanged.
    """
    damping = 1e-3
    cost = _cost(params, problem)
    precision = 1 / problem.prior_sd**2
    for _ in range(steps):
        residual, jac = residuals(params, problem)
        jac = jac @ _to_step(params)
        weight = np.repeat(_weights(residual, problem) / problem.sigma**2, 2)
        normal = jac.T @ (weight[:, None] * jac) + np.diag(precision)
        right = jac.T @ (weight * residual) + precision * (problem.prior - params)
        delta: Array = np.asarray(np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right), float)
        tried = _stepped(params, delta)
        tried_cost = _cost(tried, problem)
        if tried_cost <= cost:
            done = cost - tried_cost < 1e-6 * (1 + cost) and damping < 1e-6
            params, cost, damping = tried, tried_cost, max(damping / 30, 1e-12)
            if done:
                break
        else:
            damping *= 10
            if damping > 1e6:
                break
    return params


def _stepped(params: Array, delta: Array) -> Array:
    """Unknowns after a step (16,): turn (3), pixel of the middle (2), log scale, then as in `PARAMS`."""
    rot = cv2.Rodrigues(delta[:3])[0] @ cv2.Rodrigues(params[:3])[0]
    scale = np.exp(params[6]) / params[5]
    middle = params[3:5] * scale + params[9:11] + delta[3:5]
    scale *= np.exp(delta[5])
    out: Array = params + delta
    out[:3] = cv2.Rodrigues(rot)[0].ravel()
    out[3:5] = (middle - out[9:11]) / scale
    out[5] = np.exp(out[6]) / scale
    return out


def _to_step(params: Array) -> Array:
    """Return the derivative (16, 16) of the unknowns with respect to the step of `_stepped`."""
    out = np.eye(N_ALL)
    out[:3, :3] = _turn_jacobian(params[:3])
    scale = np.exp(params[6]) / params[5]
    out[3:6, 3:6] = 0
    out[3, 3] = out[4, 4] = 1 / scale
    out[3:6, 5] = -params[3:6]
    out[5, 6] = params[5]
    out[3, 9] = out[4, 10] = -1 / scale
    return out


def _turn_jacobian(rvec: Array) -> Array:
    """Return the derivative (3, 3) of the rotation vector of exp(w) R(rvec) with respect to w at 0.

    Inverse of the left Jacobian of SO(3) (e.g. Barfoot, State Estimation for Robotics, 2017, eq. 7.79).
    """
    angle = float(np.linalg.norm(rvec))
    if angle < 1e-8:
        return np.eye(3)
    a = rvec / angle
    half = angle / 2
    cross = np.array([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])
    cot = half / np.tan(half)
    out: Array = cot * np.eye(3) + (1 - cot) * np.outer(a, a) - half * cross
    return out


def adjust_without_outliers(problem: Problem, params: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Adjust, drop saddles far off the rest, adjust again, until none is."""
    keep = np.ones(len(problem.px), dtype=bool)
    for _ in range(4):
        params = _adjust(problem.some(keep), params)
        residual, _ = residuals(params, problem)
        norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
        still = norm < 5 * _robust_scale(norm[keep])
        if np.array_equal(still, keep) or np.count_nonzero(still) < FEWEST_SADDLES:
            break
        keep = still
    return params, keep
