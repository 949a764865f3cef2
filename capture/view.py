"""The solved view: one camera pose, its lens, and the plane in millimetres.

Sheet coordinates: mm, origin at the middle of the paper, x right, y up, z from the sheet toward the
camera. Pixel (0, 0) is the centre of the top-left pixel. The lens model is the pinhole with two radial
coefficients: r' = r (1 + k1 r^2 + k2 r^4) in normalised image coordinates (Brown 1966; the first two radial
terms of OpenCV's calib3d model).
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PARAMS: Final = ("rx", "ry", "rz", "tx", "ty", "tz", "log_f", "k1", "k2", "cx", "cy", "log_sx", "log_sy")
"""Order of `View.params`: rotation vector (rad), translation (mm), log of focal length (px), radial
distortion, principal point (px), log of the print scale across and up."""

_STEP: Final = np.array([1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-6, 1e-5, 1e-5, 1e-2, 1e-2, 1e-6, 1e-6])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class View:
    """Where the camera was, what lens it had, and how well both are known.

    Attributes
    ----------
    params : (13,) array in the order of `PARAMS`.
    cov : (13, 13) covariance of `params`.
    size : (width, height) of the photo in pixels.
    rms_px : root mean square residual of the saddles used, px (per axis).
    n_saddles : number of saddles used in the adjustment.
    notes : plain sentences on priors used (focal length from where, print scale measured or not).
    """

    params: Array
    cov: Array
    size: tuple[int, int]
    rms_px: float
    n_saddles: int
    notes: tuple[str, ...] = ()

    def project(self, xyz_mm: Array, params: Array | None = None) -> Array:
        """Pixels (N, 2) of points (N, 3) in TRUE millimetres of the sheet frame (print scale not applied)."""
        p = self.params if params is None else params
        rot, _ = cv2.Rodrigues(p[:3])
        cam = np.asarray(xyz_mm, dtype=float) @ rot.T + p[3:6]
        xn = cam[:, :2] / cam[:, 2:3]
        r2 = np.sum(xn * xn, axis=1, keepdims=True)
        out: Array = np.exp(p[6]) * xn * (1 + p[7] * r2 + p[8] * r2 * r2) + p[9:11]
        return out

    def to_plane(self, px: Array, z_mm: float = 0.0, params: Array | None = None) -> Array:
        """Millimetres (N, 2) in the plane z = z_mm of pixels (N, 2); the inverse of `project`."""
        p = self.params if params is None else params
        xd = (np.asarray(px, dtype=float) - p[9:11]) / np.exp(p[6])
        xn = xd.copy()
        for _ in range(20):
            r2 = np.sum(xn * xn, axis=1, keepdims=True)
            xn = xd / (1 + p[7] * r2 + p[8] * r2 * r2)
        rot, _ = cv2.Rodrigues(p[:3])
        rays = np.column_stack([xn, np.ones(len(xn))]) @ rot  # sheet <- camera is rot.T
        eye = -rot.T @ p[3:6]
        out: Array = eye[:2] + rays[:, :2] * ((z_mm - eye[2]) / rays[:, 2])[:, None]
        return out

    def eye_mm(self) -> Array:
        """Camera centre (3,) in sheet coordinates, mm."""
        rot, _ = cv2.Rodrigues(self.params[:3])
        out: Array = -rot.T @ self.params[3:6]
        return out

    def plane_jacobian(self, xy_mm: Array, z_mm: float = 0.0) -> Array:
        """Change (N, 2, 13) of the millimetres of FIXED pixels when a parameter changes.

        `cov_xy = J cov J^T` is the part of the covariance of measured points that comes from the view.
        The print scale acts through the adjustment (it is correlated with the translation), so its own
        column is zero here.
        """
        xyz = np.column_stack([xy_mm, np.full(len(xy_mm), z_mm)])
        px = self.project(xyz)
        out = np.zeros((len(px), 2, len(PARAMS)))
        for k, step in enumerate(_STEP):
            up, down = self.params.copy(), self.params.copy()
            up[k] += step
            down[k] -= step
            out[:, :, k] = (self.to_plane(px, z_mm, up) - self.to_plane(px, z_mm, down)) / (2 * step)
        return out

    def px_per_mm(self, xy_mm: Array, z_mm: float = 0.0) -> float:
        """Image scale (px/mm, geometric mean of the two directions) at a point (2,) of the plane."""
        x, y = float(xy_mm[0]), float(xy_mm[1])
        around = np.array([[x, y, z_mm], [x + 1, y, z_mm], [x, y + 1, z_mm]])
        p = self.project(around)
        return float(np.sqrt(abs(np.linalg.det(np.stack([p[1] - p[0], p[2] - p[0]])))))
