"""One least-squares adjustment of camera pose, lens and print scale from the saddles of the sheet.

Unknowns are those of `capture.view.PARAMS` and three numbers for a sheet that is not quite flat. Prior
knowledge enters as further observations with their standard uncertainties (focal length from EXIF, print
scale from the check bars, small distortion, principal point near the middle, small bows), so that what the
photo cannot tell stays as doubtful as it was (Gauss-Markov model with pseudo-observations: Förstner &
Wrobel, Photogrammetric Computer Vision, 2016, chapter 4; from memory).
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import SheetError
from capture.photo import Photo
from capture.print_scale import PrintScale
from capture.sheet import MarkerSheet
from capture.sighting import FEWEST_SADDLES, Sighting
from capture.view import PARAMS, View

Array = NDArray[np.float64]

K1_SD: Final = 0.1
K2_SD: Final = 0.2
CENTRE_SD: Final = 0.005
"""Principal point off the middle, as a share of the longer side."""

UNKNOWN_F_SD: Final = 0.6
"""Doubt of log f where the photo says nothing: 22 to 90 mm equivalent lie within one sigma of 45 mm."""

_UNKNOWN_F35: Final = 45.0
_MODEL_SD_PX: Final = 0.02
"""What the two-coefficient lens model leaves over."""

_MODEL_SD_MM: Final = 0.01
"""How far printed saddles lie from their nominal places: the printer's feed, small waves of the paper
(common practice, no source)."""

_BOW_SD_MM: Final = 0.15
"""Prior doubt of each of the three bows of the sheet (see `_bow_shapes`); where paper needs more, the
saddles say so."""

_MAX_BOW_MM: Final = 3.0
_N_VIEW: Final = len(PARAMS)
_N_ALL: Final = _N_VIEW + 3

_ROBUST_K: Final = 3.0
_MAX_TILT_DEG: Final = 40.0
_LEAST_PX_PER_MM: Final = 1.5
_MAX_RMS_MM: Final = 0.15
_MAX_RMS_PX: Final = 0.5
_MAX_OUTLIERS: Final = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    xy_mm: Array  # (M, 2) nominal
    px: Array  # (M, 2)
    sigma: Array  # (M,)
    shapes: Array  # (M, 3) height of the sheet per mm of each bow
    prior: Array  # (16,) expected values
    prior_sd: Array  # (16,), inf = none

    def some(self, keep: NDArray[np.bool_]) -> "_Problem":
        return _Problem(
            self.xy_mm[keep], self.px[keep], self.sigma[keep], self.shapes[keep], self.prior, self.prior_sd
        )


def solve_view(photo: Photo, sighting: Sighting, print_scale: PrintScale | None = None) -> View:
    """Solve the camera of a photo.

    Parameters
    ----------
    photo : its size and what EXIF says of the lens.
    sighting : the saddles seen.
    print_scale : from the check bars; None if they were not measured.

    Returns
    -------
    View
        Its covariance is absolute (from the stated uncertainties); when the residuals are larger than those
        explain, it is enlarged by reduced chi-square. It is never made smaller.

    Raises
    ------
    SheetError
        The sheet is too oblique, too small, curled, moved, or too many of its marks disagree.
    """
    scale = print_scale or PrintScale()
    problem = _problem(photo, sighting, scale)
    params, keep = _adjust_without_outliers(problem, _start(problem, sighting.H_img_sheet))
    kept = problem.some(keep)
    residual, jac = _residual(params, kept)
    weight = 1 / np.repeat(kept.sigma**2, 2)
    normal = jac.T @ (weight[:, None] * jac) + np.diag(1 / kept.prior_sd**2)
    # 9 unknowns are determined by the saddles (pose and at most f, k1, k2); the rest lives on its priors.
    chi2 = float(np.sum(weight * residual**2)) / max(2 * len(kept.px) - 9, 1)
    cov = np.linalg.inv(normal) * max(chi2, 1.0)
    rms = float(np.sqrt(np.mean(residual**2)))
    bow_mm = float(np.ptp(_bow_shapes(sighting.sheet, sighting.sheet.saddles) @ params[_N_VIEW:]))
    view = View(
        params=params[:_N_VIEW],
        cov=np.asarray((cov + cov.T) / 2, dtype=float)[:_N_VIEW, :_N_VIEW],
        size=photo.size,
        rms_px=rms,
        n_saddles=len(kept.px),
        notes=_notes(photo, sighting, scale, int(np.count_nonzero(~keep)), bow_mm),
    )
    _require_sound(photo.name, view, sighting, int(np.count_nonzero(~keep)), bow_mm)
    return view


def tilt_deg(view: View) -> float:
    """Angle between the line of sight to the sheet's middle and the sheet's normal, degrees."""
    eye = view.eye_mm()
    return float(np.degrees(np.arccos(eye[2] / np.linalg.norm(eye))))


def _problem(photo: Photo, sighting: Sighting, scale: PrintScale) -> _Problem:
    width, height = photo.size
    prior = np.zeros(_N_ALL)
    sd = np.full(_N_ALL, np.inf)
    sd[_N_VIEW:] = _BOW_SD_MM
    if photo.lens.focal_px is not None:
        prior[6], sd[6] = np.log(photo.lens.focal_px), photo.lens.rel_sd
    else:
        prior[6] = np.log(_UNKNOWN_F35 * np.hypot(width, height) / np.hypot(36, 24))
        sd[6] = UNKNOWN_F_SD
    sd[7], sd[8] = K1_SD, K2_SD
    prior[9:11] = (width - 1) / 2, (height - 1) / 2
    sd[9:11] = CENTRE_SD * max(width, height)
    prior[11:13] = np.log(scale.across), np.log(scale.up)
    sd[11:13] = scale.across_sd, scale.up_sd
    px_per_mm = (
        np.sqrt(np.abs(np.linalg.det(sighting.H_img_sheet))) / np.abs(sighting.H_img_sheet[2, 2]) ** 1.5
    )
    model_px = np.hypot(_MODEL_SD_PX, _MODEL_SD_MM * px_per_mm)
    sigma = np.hypot(sighting.sigma_px, model_px)
    shapes = _bow_shapes(sighting.sheet, sighting.xy_mm)
    return _Problem(sighting.xy_mm, sighting.px, sigma, shapes, prior, sd)


def _bow_shapes(sheet: MarkerSheet, xy_mm: Array) -> Array:
    """Heights (N, 3) of a sheet bowed by 1 mm about its y axis, about its x axis, and twisted.

    Each has no mean and no tilt over the whole ring, so that z = 0 stays the sheet's mean plane.
    """

    def curves(xy: Array) -> Array:
        u, v = (xy / np.abs(sheet.saddles).max(axis=0)).T
        return np.column_stack([u * u, v * v, u * v])

    out: Array = curves(xy_mm) - curves(sheet.saddles).mean(axis=0)
    return out


def _start(problem: _Problem, h: Array) -> Array:
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


def _residual(params: Array, problem: _Problem) -> tuple[Array, Array]:
    """Residuals (2M,), seen minus predicted, and derivatives (2M, 16) of the prediction."""
    n = len(problem.xy_mm)
    rot, d_rot = cv2.Rodrigues(params[:3])  # d_rot: (3, 9), row i = d R / d r_i, row-major
    x = np.column_stack([problem.xy_mm * np.exp(params[11:13]), problem.shapes @ params[_N_VIEW:]])
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
    jac = np.zeros((n, 2, _N_ALL))
    d_rot = np.asarray(d_rot).reshape(3, 3, 3)
    jac[:, :, :3] = d_cam @ np.einsum("ijk,nk->nji", d_rot, x)
    jac[:, :, 3:6] = d_cam
    jac[:, :, 6] = focal * xn * stretch[:, None]
    jac[:, :, 7] = focal * xn * r2[:, None]
    jac[:, :, 8] = focal * xn * (r2**2)[:, None]
    jac[:, :, 9:11] = np.eye(2)
    jac[:, :, 11] = (d_cam @ rot[:, 0]) * x[:, 0, None]
    jac[:, :, 12] = (d_cam @ rot[:, 1]) * x[:, 1, None]
    jac[:, :, _N_VIEW:] = (d_cam @ rot[:, 2])[:, :, None] * problem.shapes[:, None, :]
    return (problem.px - predicted).ravel(), jac.reshape(2 * n, -1)


def _robust_scale(norm: Array) -> float:
    """Scale of normalised residual lengths: 1 if they are as large as claimed (Rayleigh median 1.177)."""
    return max(1.0, float(np.median(norm)) / 1.177)


def _weights(residual: Array, problem: _Problem) -> Array:
    """Soft-L1 weights per saddle: full weight to `_ROBUST_K` sigma, falling as 1/distance beyond."""
    norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
    out: Array = 1 / np.sqrt(1 + (norm / (_ROBUST_K * _robust_scale(norm))) ** 2)
    return out


def _cost(params: Array, problem: _Problem) -> float:
    residual, _ = _residual(params, problem)
    norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
    soft = 2 * _ROBUST_K**2 * (np.sqrt(1 + (norm / _ROBUST_K) ** 2) - 1)
    cost = float(np.sum(soft) + np.sum(((params - problem.prior) / problem.prior_sd) ** 2))
    return cost if np.isfinite(cost) else np.inf


def _adjust(problem: _Problem, params: Array, steps: int = 150) -> Array:
    """Levenberg-Marquardt with soft-L1 weights recomputed at every step.

    The steps are taken in other coordinates than `PARAMS`, in which the long valley between distance and
    focal length is nearly straight: a small turn of the sheet about its own middle, the pixel of that middle,
    the log of the scale there; the others unchanged.
    """
    damping = 1e-3
    cost = _cost(params, problem)
    precision = 1 / problem.prior_sd**2
    for _ in range(steps):
        residual, jac = _residual(params, problem)
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
    out = np.eye(_N_ALL)
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


def _adjust_without_outliers(problem: _Problem, params: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Adjust, drop saddles far off the rest, adjust again, until none is."""
    keep = np.ones(len(problem.px), dtype=bool)
    for _ in range(4):
        params = _adjust(problem.some(keep), params)
        residual, _ = _residual(params, problem)
        norm = np.linalg.norm(residual.reshape(-1, 2), axis=1) / problem.sigma
        still = norm < 5 * _robust_scale(norm[keep])
        if np.array_equal(still, keep) or np.count_nonzero(still) < FEWEST_SADDLES:
            break
        keep = still
    return params, keep


def _notes(
    photo: Photo, sighting: Sighting, scale: PrintScale, n_outliers: int, bow_mm: float
) -> tuple[str, ...]:
    notes = [
        f"focal length: {photo.lens.source}, {100 * photo.lens.rel_sd:.1f} % doubtful, refined by the sheet"
        if photo.lens.focal_px is not None
        else f"focal length: {photo.lens.source}; worked out from the sheet alone",
        f"print scale: measured, {scale.across:.4f} across and {scale.up:.4f} up"
        if scale.measured
        else f"print scale: not measured, taken as 1 with {100 * scale.across_sd:.1f} % doubt; "
        "measure the two check bars to remove it",
        f"marks: {len(sighting.index)} of {sighting.n_expected} seen",
    ]
    if n_outliers:
        notes.append(f"{n_outliers} of them disagreed with the rest and were left out")
    if bow_mm > 0.5:
        notes.append(f"the sheet is bowed by about {bow_mm:.1f} mm; this is allowed for, but flatten it")
    return tuple(notes)


def _require_sound(name: str, view: View, sighting: Sighting, n_outliers: int, bow_mm: float) -> None:
    """Refuse a view that cannot carry a measurement."""
    if not np.all(np.isfinite(view.params)) or not np.all(np.isfinite(view.cov)):
        raise SheetError(
            f"{name}: the camera's place cannot be worked out from the sheet; photograph it again"
        )
    per_mm = view.px_per_mm(np.zeros(2))
    if n_outliers > _MAX_OUTLIERS * len(sighting.px) or (
        view.rms_px > _MAX_RMS_PX and view.rms_px / per_mm > _MAX_RMS_MM
    ):
        raise SheetError(
            f"{name}: the marks do not lie on one plane (rms {view.rms_px / per_mm:.2f} mm, {n_outliers} of "
            f"{len(sighting.px)} far off); the sheet is curled or was moved: flatten it on stiff board"
        )
    if bow_mm > _MAX_BOW_MM:
        raise SheetError(
            f"{name}: the sheet is bowed by about {bow_mm:.0f} mm, too much to measure in its plane; "
            "flatten it on stiff board"
        )
    tilt = tilt_deg(view)
    if tilt > _MAX_TILT_DEG:
        raise SheetError(
            f"{name}: the sheet is seen {tilt:.0f} degrees from the side, over {_MAX_TILT_DEG:.0f}; "
            "photograph it more squarely"
        )
    if per_mm < _LEAST_PX_PER_MM:
        raise SheetError(
            f"{name}: only {per_mm:.1f} pixels per mm, under {_LEAST_PX_PER_MM}; "
            "go nearer or use the camera's full size"
        )
