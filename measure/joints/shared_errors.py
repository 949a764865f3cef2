"""What is uncertain about all places of the measuring plane together: view, print scale, standoff."""

import numpy as np

from capture.arrays import Array
from capture.camera.view import PARAMS, View


def shared_covs(view: View, xy_mm: Array, z_mm: float, standoff_err_mm: float) -> dict[str, Array]:
    """Covariance (2N, 2N) of points (N, 2) of the plane by source: "print scale", "view", "standoff".

    The print scale acts through the adjustment, so it is correlated with the pose; the part of the whole that
    moves with it (by regression) is its own, what is left is independent of it.
    """
    jac = view.plane_jacobian(xy_mm, z_mm).reshape(2 * len(xy_mm), view.cov.shape[0])
    scales = [PARAMS.index("log_sx"), PARAMS.index("log_sy")]
    with_scale = jac @ view.cov[:, scales]
    scale = with_scale @ np.linalg.pinv(view.cov[np.ix_(scales, scales)]) @ with_scale.T
    eye = view.eye_mm()
    lever = ((xy_mm - eye[:2]) / (eye[2] - z_mm)).ravel()
    return {
        "print scale": scale,
        "view": jac @ view.cov @ jac.T - scale,
        "standoff": np.outer(lever, lever) * standoff_err_mm**2,
    }
