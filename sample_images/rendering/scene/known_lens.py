"""The camera file of a calibrated phone: what `foldgauge camera` would have written of a shot's lens."""

import math

import numpy as np

from capture.camera.calibrated_camera import Camera
from capture.camera.camera_file import to_text
from sample_images.rendering.scene.staging import Shot, stage

SD = np.array([4e-4, 1.5e-3, 6e-3, 0.8, 0.8, 1e-9, 1e-9, 1e-9])
"""Doubt of log focal length, k1, k2, cx, cy (px), k3, p1, p2 after eight photos of the board."""


def camera_text(shot: Shot) -> str:
    """Camera file of the shot's lens, off by what such a calibration leaves."""
    lens = stage(shot).camera
    rng = np.random.default_rng([shot.seed, 31])
    true = np.array([math.log(lens.f_px), lens.k1, lens.k2, *lens.centre, 0.0, 0.0, 0.0])
    return to_text(
        Camera(
            name=f"{shot.name}.camera.toml",
            params=true + SD * rng.standard_normal(8), cov=np.diag(SD**2), size=shot.size,
            model="Papermoth Papermoth 12", focal_35_mm=float(shot.exif_35mm or 0) or None, focal_mm=None,
            n_photos=8, rms_px=0.12,
        )
    )  # fmt: skip
