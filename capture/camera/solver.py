"""Robust least squares for a single photo and for a calibration: iteration and outliers."""

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.lens_model import Problem, all_residuals, normalised, parts, pose_at
from capture.errors import SheetError
from capture.sight.rough_pose import camera_matrix, pose_of
from capture.sight.sighting import ENOUGH

_ROBUST_K: Final = 3.0


def first_guess(problem: Problem, homographies: Sequence[Array]) -> Array:
    """Poses from the homographies at the prior focal length, and at a few others where f is not known."""
    known = problem.precision[6, 6] > 1 / 0.2**2
    best: Array | None = None
    best_cost = np.inf
    for factor in (1.0,) if known else (0.55, 1.0, 1.8):
        params = problem.prior.copy()
        params[6] += np.log(factor)
        for k, h in enumerate(homographies):
            params[pose_at(k)] = pose_of(h, camera_matrix(float(np.exp(params[6])), params[9:11]))
        params = adjust(problem, params, steps=12)
        cost = _cost(params, problem)
        if cost < best_cost:
            best, best_cost = params, cost
    if best is None:  # every start was not finite
        raise SheetError("the camera's place cannot be worked out from the sheet; photograph it again")
    return best


def _robust_normal(params: Array, problem: Problem) -> tuple[Array, Array]:
    """Sum up the normal matrix (K, K) and right hand side (K,) of the weighted marks, pose by pose.

    The whole derivative is mostly zeros, and products with it go through a threaded library that is many
    times slower where processors are busy.
    """
    poses = list(parts(params, problem))
    norm = np.empty(len(problem.px))
    for part in poses:
        norm[part.rows] = np.linalg.norm(part.off, axis=1) / problem.sigma[part.rows]
    weight = _weights(norm) / problem.sigma**2
    normal, right = np.zeros((len(params), len(params))), np.zeros(len(params))
    for part in poses:
        jac = part.jac.reshape(-1, len(part.columns))
        weighted = jac * np.repeat(weight[part.rows], 2)[:, None]
        normal[np.ix_(part.columns, part.columns)] += weighted.T @ jac
        right[part.columns] += weighted.T @ part.off.ravel()
    return normal, right


def _robust_scale(norm: Array) -> float:
    """Scale of normalised residual lengths: 1 if they are as large as claimed (Rayleigh median 1.177)."""
    return max(1.0, float(np.median(norm)) / 1.177)


def _weights(norm: Array) -> Array:
    """Soft-L1 weights per mark: full weight to `_ROBUST_K` sigma, falling as 1/distance beyond."""
    out: Array = 1 / np.sqrt(1 + (norm / (_ROBUST_K * _robust_scale(norm))) ** 2)
    return out


def _cost(params: Array, problem: Problem) -> float:
    norm = normalised(all_residuals(params, problem), problem.sigma)
    soft = 2 * _ROBUST_K**2 * (np.sqrt(1 + (norm / _ROBUST_K) ** 2) - 1)
    off = params - problem.prior
    cost = float(np.sum(soft) + off @ problem.precision @ off)
    return cost if np.isfinite(cost) else np.inf


def adjust(problem: Problem, params: Array, steps: int = 150) -> Array:
    """Levenberg-Marquardt with soft-L1 weights recomputed at every step.

    The steps are taken in other coordinates than `PARAMS`, in which the long valley between distance and
    focal length is nearly straight: for every pose a small turn of the target about its own middle, the pixel
    of that middle, the log of the scale there; the others unchanged.
    """
    damping = 1e-3
    cost = _cost(params, problem)
    free = ~problem.held
    for _ in range(steps):
        to_step = _to_step(params, problem.n_poses)
        normal, right = _robust_normal(params, problem)
        right = (to_step.T @ (right + problem.precision @ (problem.prior - params)))[free]
        normal = (to_step.T @ (normal + problem.precision) @ to_step)[np.ix_(free, free)]
        delta = np.zeros(len(params))
        delta[free] = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
        tried = _stepped(params, delta, problem.n_poses)
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


def _stepped(params: Array, delta: Array, n_poses: int) -> Array:
    """Unknowns after a step (K,): per pose turn (3), pixel of the middle (2), log scale; the rest added."""
    out: Array = params + delta
    for k in range(n_poses):
        at = pose_at(k)
        turn, shift = params[at][:3], params[at][3:]
        step = delta[at]
        scale = np.exp(params[6]) / shift[2]
        middle = shift[:2] * scale + params[9:11] + step[3:5]
        scale *= np.exp(step[5])
        rvec = cv2.Rodrigues(cv2.Rodrigues(step[:3])[0] @ cv2.Rodrigues(turn)[0])[0].ravel()
        depth = np.exp(out[6]) / scale
        out[at] = [*rvec, *((middle - out[9:11]) / scale), depth]
    return out


def _to_step(params: Array, n_poses: int) -> Array:
    """Return the derivative (K, K) of the unknowns with respect to the step of `_stepped`."""
    out = np.eye(len(params))
    for k in range(n_poses):
        i = pose_at(k).start
        shift = params[i + 3 : i + 6]
        out[i : i + 3, i : i + 3] = _turn_jacobian(params[i : i + 3])
        scale = np.exp(params[6]) / shift[2]
        out[i + 3 : i + 6, i + 3 : i + 6] = 0
        out[i + 3, i + 3] = out[i + 4, i + 4] = 1 / scale
        out[i + 3 : i + 6, i + 5] = -shift
        out[i + 5, 6] = shift[2]
        out[i + 3, 9] = out[i + 4, 10] = -1 / scale
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
    """Adjust, drop marks far off the rest, adjust again, until none is."""
    keep = np.ones(len(problem.px), dtype=bool)
    for _ in range(4):
        params = adjust(problem.some(keep), params)
        norm = normalised(all_residuals(params, problem), problem.sigma)
        still = norm < 5 * _robust_scale(norm[keep])
        if np.array_equal(still, keep) or np.count_nonzero(still & problem.upright) < ENOUGH.saddles:
            break
        keep = still
    return params, keep
