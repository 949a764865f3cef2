"""From the solved poses of the apron's halves to the page lines, the spine and the near end, in sheet mm."""

from collections.abc import Sequence

import cv2
import numpy as np

from capture.arrays import Array
from capture.camera.lens_model import pose_at
from capture.camera.view import PARAMS
from capture.sheet.apron import (
    APRON_OUTER_MM,
    FLUSH_SD_MM,
    FOLD_SD_MM,
    PAPER_MM,
    SPINE_SD_MM,
    ApronLines,
    PageEdge,
)
from capture.sight.apron_sight import HalfSeen

_MOUNTING: Array = np.diag([SPINE_SD_MM**2, FOLD_SD_MM**2, FLUSH_SD_MM**2])


def apron_lines(params: Array, cov: Array, seen: Sequence[HalfSeen]) -> ApronLines | None:
    """Lines of the apron from the adjustment's unknowns (K,) and their covariance (K, K); None without one.

    The mounting's doubts are taken as common to a whole half: a strip set too high is too high everywhere.
    """
    if not seen:
        return None
    corners, jac = _corners(params, seen)
    cov_all = jac @ cov @ jac.T
    edges = []
    for k, half in enumerate(seen):
        at = slice(6 * k, 6 * k + 6)
        edges.append(
            PageEdge(
                side=half.half.side,
                ends_mm=corners[2 * k : 2 * k + 2],
                cov=cov_all[at, at] + np.tile(_MOUNTING, (2, 2)),
                n_saddles=len(half.px),
            )
        )
    # The spine: mean of the two halves' inner ends, or the one there is.
    take = np.zeros((3, 6 * len(seen)))
    for k in range(len(seen)):
        take[:, 6 * k : 6 * k + 3] = np.eye(3) / len(seen)
    spine_jac = take @ jac
    gradient, rest = _split(spine_jac[2], cov)
    across = np.zeros(3)
    for edge in edges:
        run = edge.ends_mm[1] - edge.ends_mm[0]
        across += run if edge.side == "right" else -run
    spine = take @ corners.reshape(-1)
    return ApronLines(
        edges=tuple(edges),
        spine_mm=spine,
        spine_cov=spine_jac @ cov @ spine_jac.T + _MOUNTING,
        standoff_mm=float(spine[2]),
        standoff_gradient=gradient,
        standoff_rest_sd=float(np.hypot(rest, FLUSH_SD_MM)),
        yaw_deg=float(np.degrees(np.arctan2(-across[2], np.hypot(across[0], across[1])))),
    )


def _corners(params: Array, seen: Sequence[HalfSeen]) -> tuple[Array, Array]:
    """Return the ends (2 n, 3) of the fold lines in sheet mm, inner then outer, and derivatives (6 n, K)."""
    outer = [APRON_OUTER_MM if half.half.side == "right" else -APRON_OUTER_MM for half in seen]

    def at(p: Array) -> Array:
        rot, _ = cv2.Rodrigues(p[:3])
        out = []
        for k, x_outer in enumerate(outer):
            pose = p[pose_at(k + 1)]
            turn, _ = cv2.Rodrigues(pose[:3])
            for x in (0.0, x_outer):
                fold = np.array([x * np.exp(p[11]), 0.0, -PAPER_MM])
                out.append(rot.T @ (turn @ fold + pose[3:] - p[3:6]))
        return np.array(out)

    jac = np.zeros((6 * len(seen), len(params)))
    poses = [pose_at(k).start for k in range(len(seen) + 1)]
    steps = {i + j: (1e-5 if j < 3 else 1e-2) for i in poses for j in range(6)} | {11: 1e-5}
    for i, step in steps.items():
        up, down = params.copy(), params.copy()
        up[i] += step
        down[i] -= step
        jac[:, i] = (at(up) - at(down)).ravel() / (2 * step)
    return at(params), jac


def _split(gradient: Array, cov: Array) -> tuple[Array, float]:
    """Part of a quantity's error that goes with the view's parameters (16,), and the rest's sd.

    Linear regression of the quantity on those parameters: g = C_vv^-1 C_vq.
    """
    n = len(PARAMS)
    with_view = cov[:n] @ gradient
    known = np.linalg.pinv(cov[:n, :n], hermitian=True) @ with_view
    rest = float(gradient @ cov @ gradient - known @ with_view)
    return known, float(np.sqrt(max(rest, 0.0)))
