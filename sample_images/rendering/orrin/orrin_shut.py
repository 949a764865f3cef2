"""Shut dummies of "Nine Lamps of Orrin Quay", lying on the uncut sheet and seen from above."""

import math

import numpy as np

from sample_images.rendering.cards.card_dummy import Part
from sample_images.rendering.cards.lying_shut import Above, Lens, shut
from sample_images.rendering.orrin.orrin_quay import SAMPLES
from sample_images.rendering.scene.phone_camera import Sensor


def _oversize_shut() -> Above:
    """Return the night market of the sample `oversize`, shut: its plane is too long on both sides."""
    open_shot = next(s for s in SAMPLES if s.name == "oversize")
    b = open_shot.build
    parts, facts = shut(open_shot.lengths, b.strip_depth_mm, b.base_depth_mm, b.card_mm, b.base_mm)
    t = math.radians(1.4)
    turn = np.array([[math.cos(t), -math.sin(t), 0.0], [math.sin(t), math.cos(t), 0.0], [0.0, 0.0, 1.0]])
    at = np.array([-58.0, -41.0, 0.02])
    return Above(
        name="oversize_shut", spec=open_shot.spec,
        parts=tuple(Part(p.mesh.moved(turn, at), p.stuff) for p in parts),
        facts={
            **facts,
            "faults": [{"length": k, "error_mm": v} for k, v in open_shot.faults.items()],
            "spine_mm": [[float(c) for c in (turn @ [0.0, y, 0.0] + at)[:2]] for y in (0.0, b.base_depth_mm)],
        },
        print_scale=open_shot.print_scale, lens=Lens(focal_35mm=52.3, exif_35mm=52, distortion=(0.02, -0.03)),
        distance_mm=520.0, middle=(4.0, -3.0), lean_deg=(3.5, -4.0), roll_deg=1.8, table="light",
        sensor=Sensor(white=1.0, gain=(1.0, 1.01, 0.99), blur_px=0.75, sharpen=0.4, quality=91),
        when="2024:05:11 15:42:00", seed=26,
    )  # fmt: skip


CLOSED: tuple[Above, ...] = (_oversize_shut(),)
