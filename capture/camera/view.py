"""The solved view: one camera pose, its lens, and the plane in millimetres.

Sheet coordinates: mm, origin at the middle of the paper, x right, y up, z from the sheet toward the
camera. Pixel (0, 0) is the centre of the top-left pixel. The lens model is the pinhole with radial
coefficients k1, k2, k3 and decentring p1, p2 in normalised image coordinates (Brown 1966; the five terms of
OpenCV's calib3d model). Without a calibrated camera k3, p1 and p2 are zero.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from capture.arrays import Array
from capture.camera.known_page import KnownPage
from capture.camera.view_facts import ViewFact
from capture.sheet.apron import ApronLines

PARAMS: Final = (
    "rx", "ry", "rz", "tx", "ty", "tz", "log_f", "k1", "k2", "cx", "cy", "log_sx", "log_sy", "k3", "p1", "p2",
)  # fmt: skip
"""Order of `View.params`: rotation vector (rad), translation (mm), log of focal length (px), radial
distortion, principal point (px), log of the print scale across and up, the rest of the distortion."""

_LENS: Final = (7, 8, 13, 14, 15)
_FIRST_REST: Final = 13
_STEP: Final = np.array(
    [1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-6, 1e-5, 1e-5, 1e-2, 1e-2, 1e-6, 1e-6, 1e-5, 1e-6, 1e-6]
)


def distorted(xn: Array, lens: Array) -> tuple[Array, Array, Array]:
    """Bend normalised image points (N, 2) by the lens (k1, k2, k3, p1, p2).

    Returns
    -------
    The bent points (N, 2), their derivatives (N, 2, 2) with respect to the points, and (N, 2, 5) with respect
    to the lens.
    """
    k1, k2, k3, p1, p2 = lens
    x, y = xn.T
    r2 = x * x + y * y
    stretch = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    bend = 2 * (k1 + r2 * (2 * k2 + 3 * r2 * k3))  # d stretch / d x = bend x
    a, b, c = 2 * x * y, r2 + 2 * x * x, r2 + 2 * y * y
    out = np.stack([x * stretch + p1 * a + p2 * b, y * stretch + p1 * c + p2 * a], axis=1)
    cross = x * y * bend + 2 * (p1 * x + p2 * y)
    by_point = np.empty((len(xn), 2, 2))
    by_point[:, 0, 0] = stretch + x * x * bend + 2 * p1 * y + 6 * p2 * x
    by_point[:, 1, 1] = stretch + y * y * bend + 6 * p1 * y + 2 * p2 * x
    by_point[:, 0, 1] = by_point[:, 1, 0] = cross
    by_lens = np.empty((len(xn), 2, 5))
    for j in range(3):
        by_lens[:, :, j] = xn * (r2 ** (j + 1))[:, None]
    by_lens[:, :, 3] = np.stack([a, c], axis=1)
    by_lens[:, :, 4] = np.stack([b, a], axis=1)
    return out, by_point, by_lens


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class View:
    """Where the camera was, what lens it had, and how well both are known.

    Attributes
    ----------
    params : (16,) array in the order of `PARAMS`; (13,) is taken for a lens without k3, p1, p2.
    cov : (16, 16) covariance of `params`, or (13, 13) likewise.
    size : (width, height) of the photo in pixels.
    rms_px : root mean square residual of the saddles used, px (per axis).
    n_saddles : number of saddles used in the adjustment.
    notes : what it rests on (focal length from where, print scale measured or not).
    bow_mm : how far the sheet is bowed, from highest to lowest mark.
    apron : where the page lines, the spine and the near end are, if an apron was seen.
    page : the pages' surface, the line where the sheet stands on it and the spine, if a sill was seen.
    z_gradient : (16,) change of the measuring plane's height (mm) with `params`, where an apron gave it: its
        errors then go together with those of the camera; None for a plane known otherwise.
    """

    params: Array
    cov: Array
    size: tuple[int, int]
    rms_px: float
    n_saddles: int
    notes: tuple[ViewFact, ...] = ()
    bow_mm: float = 0.0
    apron: ApronLines | None = None
    page: KnownPage | None = None
    z_gradient: Array | None = None

    def __post_init__(self) -> None:
        missing = len(PARAMS) - len(self.params)
        object.__setattr__(self, "params", np.pad(np.asarray(self.params, dtype=float), (0, missing)))
        missing = len(PARAMS) - len(self.cov)
        object.__setattr__(self, "cov", np.pad(np.asarray(self.cov, dtype=float), (0, missing)))

    def project(self, xyz_mm: Array, params: Array | None = None) -> Array:
        """Pixels (N, 2) of points (N, 3) in TRUE millimetres of the sheet frame (print scale not applied)."""
        p = self.params if params is None else params
        rot, _ = cv2.Rodrigues(p[:3])
        # Written out by columns: a matrix product of many points with a 3 x 3 goes through a threaded library
        # that is many times slower where processors are busy.
        x, y, z = np.asarray(xyz_mm, dtype=float).T
        cam_x, cam_y, cam_z = (r[0] * x + r[1] * y + r[2] * z + t for r, t in zip(rot, p[3:6], strict=True))
        xn, yn = cam_x / cam_z, cam_y / cam_z
        stretch, off_x, off_y = _bend(xn, yn, p)
        focal = np.exp(p[6])
        return np.stack(
            [focal * (xn * stretch + off_x) + p[9], focal * (yn * stretch + off_y) + p[10]], axis=1
        )

    def to_plane(self, px: Array, z_mm: float = 0.0, params: Array | None = None) -> Array:
        """Millimetres (N, 2) in the plane z = z_mm of pixels (N, 2); the inverse of `project`."""
        p = self.params if params is None else params
        focal = np.exp(p[6])
        xd, yd = ((q - c) / focal for q, c in zip(np.asarray(px, dtype=float).T, p[9:11], strict=True))
        xn, yn = xd, yd
        for _ in range(30):
            stretch, off_x, off_y = _bend(xn, yn, p)
            last, xn, yn = xn, (xd - off_x) / stretch, (yd - off_y) / stretch
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
        """Change (N, 2, 16) of the millimetres of FIXED pixels when a parameter changes.

        `cov_xy = J cov J^T` is the part of the covariance of measured points that comes from the view.
        The print scale acts through the adjustment (it is correlated with the translation), so its own
        column is zero here. Where the plane's height itself was found by the adjustment (`z_gradient`), its
        change is included.
        """
        xyz = np.column_stack([xy_mm, np.full(len(xy_mm), z_mm)])
        px = self.project(xyz)
        out = np.zeros((len(px), 2, len(PARAMS)))
        for k, step in enumerate(_STEP):
            if k >= _FIRST_REST and not np.any(self.cov[k]):
                continue  # no such term in this lens
            up, down = self.params.copy(), self.params.copy()
            up[k] += step
            down[k] -= step
            out[:, :, k] = (self.to_plane(px, z_mm, up) - self.to_plane(px, z_mm, down)) / (2 * step)
        if self.z_gradient is not None:
            by_z = (self.to_plane(px, z_mm + 0.01) - self.to_plane(px, z_mm - 0.01)) / 0.02
            out += by_z[:, :, None] * self.z_gradient
        return out

    def px_per_mm(self, xy_mm: Array, z_mm: float = 0.0) -> float:
        """Image scale (px/mm, geometric mean of the two directions) at a point (2,) of the plane."""
        x, y = float(xy_mm[0]), float(xy_mm[1])
        around = np.array([[x, y, z_mm], [x + 1, y, z_mm], [x, y + 1, z_mm]])
        p = self.project(around)
        return float(np.sqrt(abs(np.linalg.det(np.stack([p[1] - p[0], p[2] - p[0]])))))


def _bend(xn: Array, yn: Array, params: Array) -> tuple[Array, Array | float, Array | float]:
    """Radial factor and decentring in normalised image coordinates."""
    k1, k2, k3, p1, p2 = (float(params[i]) for i in _LENS)
    r2 = xn * xn + yn * yn
    stretch: Array = 1 + r2 * (k1 + r2 * (k2 + r2 * k3)) if k3 else 1 + r2 * (k1 + r2 * k2)
    if not (p1 or p2):
        return stretch, 0.0, 0.0
    a = 2 * xn * yn
    return stretch, p1 * a + p2 * (r2 + 2 * xn * xn), p1 * (r2 + 2 * yn * yn) + p2 * a
