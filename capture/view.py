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
        # Written out by columns: a matrix product of many points with a 3 x 3 goes through a threaded library
        # that is many times slower where processors are busy.
        x, y, z = np.asarray(xyz_mm, dtype=float).T
        cam_x, cam_y, cam_z = (r[0] * x + r[1] * y + r[2] * z + t for r, t in zip(rot, p[3:6], strict=True))
        xn, yn = cam_x / cam_z, cam_y / cam_z
        r2 = xn * xn + yn * yn
        scale = np.exp(p[6]) * (1 + p[7] * r2 + p[8] * r2 * r2)
        return np.stack([xn * scale + p[9], yn * scale + p[10]], axis=1)

    def to_plane(self, px: Array, z_mm: float = 0.0, params: Array | None = None) -> Array:
        """Millimetres (N, 2) in the plane z = z_mm of pixels (N, 2); the inverse of `project`."""
        p = self.params if params is None else params
        focal = np.exp(p[6])
        xd, yd = ((q - c) / focal for q, c in zip(np.asarray(px, dtype=float).T, p[9:11], strict=True))
        xn, yn = xd, yd
        for _ in range(30):
            r2 = xn * xn + yn * yn
            shrink = 1 / (1 + p[7] * r2 + p[8] * r2 * r2)
            last, xn, yn = xn, xd * shrink, yd * shrink
            if np.max(np.abs(xn - last), initial=0.0) < 1e-13:
                break
        rot, _ = cv2.Rodrigues(p[:3])
        eye = -rot.T @ p[3:6]
        ray_x, ray_y, ray_z = (c[0] * xn + c[1] * yn + c[2] for c in rot.T)  # sheet <- camera is rot.T
        along = (z_mm - eye[2]) / ray_z
        return np.stack([eye[0] + ray_x * along, eye[1] + ray_y * along], axis=1)

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
