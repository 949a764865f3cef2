"""Where a flat target stands, roughly: from its homography, when the focal length is about known."""

import cv2
import numpy as np

from capture.arrays import Array


def camera_matrix(focal_px: float, centre_px: Array) -> Array:
    """Return the camera matrix (3, 3) of a focal length and principal point (2,), px."""
    return np.array([[focal_px, 0, centre_px[0]], [0, focal_px, centre_px[1]], [0, 0, 1]], dtype=float)


def pose_of(h: Array, matrix: Array) -> Array:
    """Rotation vector and translation (6,) that best explain a homography (3, 3), pixels <- mm."""
    m = np.linalg.solve(matrix, h)
    m = m / np.sqrt(np.linalg.norm(m[:, 0]) * np.linalg.norm(m[:, 1]))
    if m[2, 2] < 0:  # the target lies before the camera
        m = -m
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]))
    rot = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    return np.concatenate([cv2.Rodrigues(rot)[0].ravel(), m[:, 2]])


def folded_homography(pose: Array, matrix: Array, fold_mm: float) -> Array:
    """Homography (3, 3), pixels <- paper mm, of what is folded forward by a right angle below a line.

    Parameters
    ----------
    pose : (6,) of the upright paper. matrix : (3, 3) of the camera.
    fold_mm : height y of the fold line; paper point (x, y) is at (x, fold, fold - y).
    """
    rot, _ = cv2.Rodrigues(pose[:3])
    origin = pose[3:] + fold_mm * (rot[:, 1] + rot[:, 2])
    out: Array = matrix @ np.column_stack([rot[:, 0], -rot[:, 2], origin])
    return out
