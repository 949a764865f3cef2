"""One phone: eight photos of the calibration board, and the ferry taken with the same lens."""

from dataclasses import replace

import numpy as np

from sample_images.rendering.cards.lying_shut import Above, Lens
from sample_images.rendering.orrin.orrin_quay import SAMPLES
from sample_images.rendering.scene.phone_camera import Sensor
from sample_images.rendering.scene.staging import Shot

FOLDER = "phone"
SIZE = (2000, 1500)

PHONE = Lens(focal_35mm=52.7, exif_35mm=52, distortion=(0.052, -0.081), centre_off=(11.0, -7.5))
"""What all these photos have in common."""


def board_photos(size: tuple[int, int] = SIZE) -> list[Above]:
    """Eight photos of the board as one should take them: square on, aslant, rolled, off to the corners."""
    rng = np.random.default_rng([700, 41])
    poses = (
        # middle of the picture on the board, lean right and up, roll, distance
        ((0.0, 0.0), (2.0, -1.0), 1.0, 470.0),
        ((6.0, 3.0), (30.0, 3.0), -3.0, 540.0),
        ((-6.0, 2.0), (-29.0, -4.0), 4.0, 540.0),
        ((0.0, 0.0), (3.0, 28.0), 2.0, 540.0),
        ((4.0, -4.0), (-2.0, -31.0), 91.0, 640.0),
        ((8.0, -5.0), (-12.0, 10.0), -88.0, 640.0),
        ((-56.0, 40.0), (15.0, -14.0), 0.0, 640.0),
        ((64.0, 40.0), (-20.0, -18.0), 178.0, 660.0),
    )
    out = []
    for i, (middle, lean, roll, distance) in enumerate(poses):
        sensor = Sensor(white=1.0, gain=(1.01, 1.0, 0.99), blur_px=0.7, sharpen=0.4, quality=91)
        out.append(
            Above(
                name=f"board_{i + 1}",
                board=True,
                lens=PHONE,
                size=size,
                middle=middle,
                lean_deg=lean,
                roll_deg=roll + rng.normal(),
                distance_mm=distance,
                print_scale=(1.003, 0.998),
                table="grey",
                sensor=sensor,
                seed=700,
                when=f"2024:04:02 11:0{i}:00",
            )  # fmt: skip
        )
    return out


def ferry() -> Shot:
    """Return the ferry before the uncut sheet, where the focal length matters most."""
    shot = next(s for s in SAMPLES if s.name == "good_backdrop")
    return replace(
        shot, name="ferry", spec="ferry.toml", size=SIZE, focal_35mm=PHONE.focal_35mm,
        exif_35mm=PHONE.exif_35mm,
        distortion=PHONE.distortion, centre_off=PHONE.centre_off, when="2024:04:02 11:20:00", frame=1,
    )  # fmt: skip
