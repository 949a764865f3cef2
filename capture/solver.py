"""Robust least squares for `capture.adjust` and `capture.calibrate`: model, derivatives, iteration.

One lens, one print, any number of flat targets (or photos of one target), each with its own pose. The
unknowns are those of `capture.view.PARAMS` and the three bows of the sheet, 19 in all, then 6 for every
further pose.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import SheetError
from capture.sighting import FEWEST_SADDLES
from capture.view import PARAMS, distorted

Array = NDArray[np.float64]

N_VIEW: Final = len(PARAMS)
N_ALL: Final = N_VIEW + 3
_ROBUST_K: Final = 3.0


def pose_at(k: int) -> slice:
    """Where the six numbers of pose k stand among the unknowns."""
    return slice(0, 6) if k == 0 else slice(N_ALL + 6 * (k - 1), N_ALL + 6 * k)


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """What the unknowns have to explain.

    Attributes
    ----------
    xy_mm : (M, 2) nominal places on the target.
    px : (M, 2) seen places.
    sigma : (M,) their standard uncertainty per axis, px.
    shapes : (M, 3) height of the target at each mark per mm of each bow.
    pose : (M,) which pose each mark belongs to.
    n_poses : number of poses.
    prior : (K,) expected unknowns.
    precision : (K, K) inverse covariance of `prior`; zero where nothing is expected.
    held : (K,) True for unknowns that stay at their prior.
    """

    xy_mm: Array
    px: Array
    sigma: Array
    shapes: Array
    pose: NDArray[np.int64]
    n_poses: int
    prior: Array
    precision: Array
    held: NDArray[np.bool_]

    def some(self, keep: NDArray[np.bool_]) -> "Problem":
        """Return the same problem with some of the marks (mask (M,))."""
        return replace(
            self,
            xy_mm=self.xy_mm[keep],
            px=self.px[keep],
            sigma=self.sigma[keep],
            shapes=self.shapes[keep],
            pose=self.pose[keep],
        )


def first_guess(problem: Problem, homographies: Sequence[Array]) -> Array:
    """Poses from the homographies at the prior focal length, and at a few others where f is not known."""
    known = problem.precision[6, 6] > 1 / 0.2**2
    best: Array | None = None
    best_cost = np.inf
    for factor in (1.0,) if known else (0.55, 1.0, 1.8):
        params = problem.prior.copy()
        params[6] += np.log(factor)
        for k, h in enumerate(homographies):
            params[pose_at(k)] = _pose(h, params)
        params = adjust(problem, params, steps=12)
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
    """Residuals (2M,), seen minus predicted, and derivatives (2M, K) of the prediction."""
    m = len(problem.xy_mm)
    predicted = np.empty((m, 2))
    jac = np.zeros((m, 2, len(params)))
    for k in range(problem.n_poses):
        rows = slice(None) if problem.n_poses == 1 else np.flatnonzero(problem.pose == k)
        where = pose_at(k)
        local = np.concatenate([params[where], params[6:N_ALL]])
        predicted[rows], part = _predicted(local, problem.xy_mm[rows], problem.shapes[rows])
        jac[rows, :, where] += part[:, :, :6]
        jac[rows, :, 6:N_ALL] = part[:, :, 6:]
    return (problem.px - predicted).ravel(), jac.reshape(2 * m, -1)


def _predicted(params: Array, xy_mm: Array, shapes: Array) -> tuple[Array, Array]:
    """Pixels (M, 2) of the marks of one pose and their derivatives (M, 2, 19)."""
    rot, d_rot = cv2.Rodrigues(params[:3])  # d_rot: (3, 9), row i = d R / d r_i, row-major
    x = np.column_stack([xy_mm * np.exp(params[11:13]), shapes @ params[N_VIEW:]])
    cam = x @ rot.T + params[3:6]
    inv_z = 1 / cam[:, 2]
    xn = cam[:, :2] * inv_z[:, None]
    lens = np.concatenate([params[7:9], params[13:16]])
    focal = np.exp(params[6])
    bent, d_bent, by_lens = distorted(xn, lens)
    d_xn = focal * d_bent  # d xn / d cam = [I | -xn] / z
    d_cam = np.concatenate([d_xn, -(d_xn @ xn[:, :, None])], axis=2) * inv_z[:, None, None]
    jac = np.zeros((len(x), 2, N_ALL))
    d_rot = np.asarray(d_rot).reshape(3, 3, 3)
    jac[:, :, :3] = d_cam @ np.einsum("ijk,nk->nji", d_rot, x)
    jac[:, :, 3:6] = d_cam
    jac[:, :, 6] = focal * bent
    jac[:, :, 7:9] = focal * by_lens[:, :, :2]
    jac[:, :, 9:11] = np.eye(2)
    jac[:, :, 11] = (d_cam @ rot[:, 0]) * x[:, 0, None]
    jac[:, :, 12] = (d_cam @ rot[:, 1]) * x[:, 1, None]
    jac[:, :, 13:16] = focal * by_lens[:, :, 2:]
    jac[:, :, N_VIEW:] = (d_cam @ rot[:, 2])[:, :, None] * shapes[:, None, :]
    return focal * bent + params[9:11], jac


def normal_matrix(jac: Array, sigma: Array, problem: Problem) -> Array:
    """Return the normal matrix (K, K) of marks with these uncertainties, and of the priors."""
    out: Array = jac.T @ (jac / np.repeat(sigma**2, 2)[:, None]) + problem.precision
    return out


def covariance(normal: Array, held: NDArray[np.bool_]) -> Array:
    """Inverse (K, K) of the normal matrix of the free unknowns; zero for those held."""
    free = np.flatnonzero(~held)
    out = np.zeros_like(normal)
    inverse = np.linalg.inv(normal[np.ix_(free, free)])
    out[np.ix_(free, free)] = (inverse + inverse.T) / 2
    return out


def _robust_scale(norm: Array) -> float:
    """Scale of normalised residual lengths: 1 if they are as large as claimed (Rayleigh median 1.177)."""
    return max(1.0, float(np.median(norm)) / 1.177)


def normalised(residual: Array, sigma: Array) -> Array:
    """Lengths (M,) of the residuals (2M,) in units of their standard uncertainty."""
    out: Array = np.linalg.norm(residual.reshape(-1, 2), axis=1) / sigma
    return out


def _weights(residual: Array, problem: Problem) -> Array:
    """Soft-L1 weights per mark: full weight to `_ROBUST_K` sigma, falling as 1/distance beyond."""
    norm = normalised(residual, problem.sigma)
    out: Array = 1 / np.sqrt(1 + (norm / (_ROBUST_K * _robust_scale(norm))) ** 2)
    return out


def _cost(params: Array, problem: Problem) -> float:
    residual, _ = residuals(params, problem)
    norm = normalised(residual, problem.sigma)
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
        residual, jac = residuals(params, problem)
        to_step = _to_step(params, problem.n_poses)
        jac = jac @ to_step
        weight = np.repeat(_weights(residual, problem) / problem.sigma**2, 2)
        normal = jac.T @ (weight[:, None] * jac) + to_step.T @ problem.precision @ to_step
        pull = to_step.T @ (problem.precision @ (problem.prior - params))
        right = (jac.T @ (weight * residual) + pull)[free]
        normal = normal[np.ix_(free, free)]
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
        residual, _ = residuals(params, problem)
        norm = normalised(residual, problem.sigma)
        still = norm < 5 * _robust_scale(norm[keep])
        if np.array_equal(still, keep) or np.count_nonzero(still & (problem.pose == 0)) < FEWEST_SADDLES:
            break
        keep = still
    return params, keep
