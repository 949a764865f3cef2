"""The model behind the adjustment: where marks of flat targets appear, with derivatives.

One lens, one print, any number of flat targets (or photos of one target), each with its own pose. The
unknowns are those of `capture.camera.view.PARAMS` and the three bows of the sheet, 19 in all, then 6 for
every further pose, then 5 for every piece of the first target that is folded forward (see `folded`).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.view import PARAMS, distorted

N_VIEW: Final = len(PARAMS)
N_ALL: Final = N_VIEW + 3


N_FOLD: Final = 5
"""Unknowns of a folded piece: height of the fold line at the sheet's middle (mm), its slope, how far the
angle exceeds a right one (rad, + = springing up), bow along the fold and along the depth (mm, + = up)."""


_FOLD_STEP: Final = 1e-5


def pose_at(k: int) -> slice:
    """Where the six numbers of pose k stand among the unknowns."""
    return slice(0, 6) if k == 0 else slice(N_ALL + 6 * (k - 1), N_ALL + 6 * k)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FoldedPiece:
    """A piece folded forward: what its bows are measured by.

    Attributes
    ----------
    middle_mm, half_mm : middle of the piece along the fold, and half its length.
    depth_mm : from the fold to its near edge.
    """

    middle_mm: float
    half_mm: float
    depth_mm: float


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
    fold : (M,) which folded piece each mark lies on; -1 = on none; None = there are no such pieces.
    pieces : the folded pieces of the first target.
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
    fold: NDArray[np.int64] | None = None
    pieces: tuple[FoldedPiece, ...] = ()

    def some(self, keep: NDArray[np.bool_]) -> "Problem":
        """Return the same problem with some of the marks (mask (M,))."""
        return replace(
            self,
            xy_mm=self.xy_mm[keep],
            px=self.px[keep],
            sigma=self.sigma[keep],
            shapes=self.shapes[keep],
            pose=self.pose[keep],
            fold=None if self.fold is None else self.fold[keep],
        )

    @property
    def upright(self) -> NDArray[np.bool_]:
        """Marks (M,) of the first target that are not on a folded piece."""
        first: NDArray[np.bool_] = self.pose == 0
        return first if self.fold is None else first & (self.fold < 0)

    def fold_at(self, k: int) -> slice:
        """Where the five numbers of folded piece k stand among the unknowns."""
        start = N_ALL + 6 * (self.n_poses - 1) + N_FOLD * k
        return slice(start, start + N_FOLD)


def residuals(params: Array, problem: Problem) -> tuple[Array, Array]:
    """Residuals (2M,), seen minus predicted, and derivatives (2M, K) of the prediction."""
    m = len(problem.xy_mm)
    off = np.empty((m, 2))
    jac = np.zeros((m, 2, len(params)))
    for part in parts(params, problem):
        off[part.rows] = part.off
        jac[part.rows[:, None], :, part.columns] = part.jac.transpose(0, 2, 1)
    return off.ravel(), jac.reshape(2 * m, -1)


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The marks of one pose: their rows (m,), the unknowns they depend on (c,), residuals, derivatives."""

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    off: Array  # (m, 2)
    jac: Array  # (m, 2, c)


def parts(params: Array, problem: Problem) -> Iterator[Part]:
    """Go through the poses."""
    common = np.arange(6, N_ALL)
    flat = problem.pose if problem.fold is None else np.where(problem.fold < 0, problem.pose, -1)
    for k in range(problem.n_poses):
        rows = np.flatnonzero(flat == k)
        at = pose_at(k)
        columns = np.concatenate([np.arange(at.start, at.stop), common])
        px, jac = _predicted(params[columns], problem.xy_mm[rows], problem.shapes[rows])
        yield Part(rows, columns, problem.px[rows] - px, jac)
    for k, piece in enumerate(problem.pieces):
        rows = np.flatnonzero(problem.fold == k)
        at = problem.fold_at(k)
        columns = np.concatenate([np.arange(N_ALL), np.arange(at.start, at.stop)])
        px, jac = _predicted_folded(params[columns], problem.xy_mm[rows], problem.shapes[rows], piece)
        yield Part(rows, columns, problem.px[rows] - px, jac)


def all_residuals(params: Array, problem: Problem) -> Array:
    """Residuals (2M,) alone."""
    off = np.empty((len(problem.xy_mm), 2))
    for part in parts(params, problem):
        off[part.rows] = part.off
    return off.ravel()


def _predicted(params: Array, xy_mm: Array, shapes: Array) -> tuple[Array, Array]:
    """Pixels (M, 2) of the marks of one pose and their derivatives (M, 2, 19)."""
    x = np.column_stack([xy_mm * np.exp(params[11:13]), shapes @ params[N_VIEW:]])
    px, jac, d_cam, rot = _seen(params, x)
    jac[:, :, 11] = (d_cam @ rot[:, 0]) * x[:, 0, None]
    jac[:, :, 12] = (d_cam @ rot[:, 1]) * x[:, 1, None]
    jac[:, :, N_VIEW:] = (d_cam @ rot[:, 2])[:, :, None] * shapes[:, None, :]
    return px, jac


def _predicted_folded(params: Array, xy_mm: Array, shapes: Array, piece: FoldedPiece) -> tuple[Array, Array]:
    """Pixels (M, 2) of the marks of a folded piece and their derivatives (M, 2, 24)."""
    x = folded(params, xy_mm, shapes, piece)
    px, seen, d_cam, rot = _seen(params, x)
    by_point = d_cam @ rot
    jac = np.concatenate([seen, np.zeros((len(x), 2, N_FOLD))], axis=2)
    for i in (11, 12, *range(N_VIEW, N_ALL + N_FOLD)):
        step = np.zeros(len(params))
        step[i] = _FOLD_STEP
        up, down = (folded(p, xy_mm, shapes, piece) for p in (params + step, params - step))
        jac[:, :, i] = np.einsum("mij,mj->mi", by_point, (up - down) / (2 * _FOLD_STEP))
    return px, jac


def folded(params: Array, xy_mm: Array, shapes: Array, piece: FoldedPiece) -> Array:
    """Places (M, 3) on a folded piece of paper, true mm of the sheet.

    Parameters
    ----------
    params : (24,) unknowns: view, bows of the sheet, then those of the fold (see `N_FOLD`).
    xy_mm : (M, 2) places on the flat paper, nominal mm.
    shapes : (M, 3) height of the sheet AT THE FOLD straight behind each, per mm of each bow.
    piece : what the bows are measured by.
    """
    height, slope, spring, bow_along, bow_deep = params[N_ALL:]
    p = xy_mm * np.exp(params[11:13])
    norm = np.hypot(1.0, slope)
    along, normal = np.array([1.0, slope]) / norm, np.array([-slope, 1.0]) / norm
    run, depth = (p - [0.0, height]) @ along, -((p - [0.0, height]) @ normal)
    u = (p[:, 0] - piece.middle_mm) / piece.half_mm
    v = depth / piece.depth_mm
    lift = bow_along * (1 - u * u) + 4 * bow_deep * v * (1 - v)
    out = np.empty((len(p), 3))
    out[:, :2] = [0.0, height] + run[:, None] * along
    out[:, :2] += (depth * np.sin(spring) + lift * np.cos(spring))[:, None] * normal
    out[:, 2] = shapes @ params[N_VIEW:N_ALL] + depth * np.cos(spring) - lift * np.sin(spring)
    return out


def _seen(params: Array, x: Array) -> tuple[Array, Array, Array, Array]:
    """Pixels (M, 2) of points (M, 3), true mm of the sheet.

    Returns
    -------
    The pixels, their derivatives (M, 2, 19) with respect to pose and lens, (M, 2, 3) with respect to the
    points in the camera's frame, and that frame (3, 3).
    """
    turn, d_rot = cv2.Rodrigues(params[:3])  # d_rot: (3, 9), row i = d R / d r_i, row-major
    rot = np.asarray(turn, dtype=float)
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
    jac[:, :, 13:16] = focal * by_lens[:, :, 2:]
    return focal * bent + params[9:11], jac, d_cam, rot


def by_place(params: Array, problem: Problem) -> Array:
    """Return the derivatives (M, 2, 2) of the predicted pixels with respect to the marks' places, mm."""
    out = np.empty((len(problem.xy_mm), 2, 2))
    step = 1e-3
    for i in range(2):
        up, down = problem.xy_mm.copy(), problem.xy_mm.copy()
        up[:, i] += step
        down[:, i] -= step
        higher, lower = (all_residuals(params, replace(problem, xy_mm=xy)) for xy in (up, down))
        out[:, :, i] = (lower - higher).reshape(-1, 2) / (2 * step)
    return out


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


def normalised(residual: Array, sigma: Array) -> Array:
    """Lengths (M,) of the residuals (2M,) in units of their standard uncertainty."""
    out: Array = np.linalg.norm(residual.reshape(-1, 2), axis=1) / sigma
    return out
