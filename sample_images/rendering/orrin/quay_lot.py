"""A lot to be judged: 14 assembled samples of the ferry, whose left leg drifts from the sixth on."""

import csv
import io
from datetime import datetime, timedelta

import numpy as np

from sample_images.rendering.cards.card_dummy import Build
from sample_images.rendering.chance.catalogue import hand_made, spread
from sample_images.rendering.scene.phone_camera import Sensor
from sample_images.rendering.scene.staging import Shot

FOLDER = "lot_ferry"
COUNT = 14
DRIFT_FROM = 6
"""The first sample whose left leg is short."""

DRIFT_MM = -0.12
"""How much shorter the left leg gets from one sample to the next."""

_NOMINAL = spread(104, 12, 38, 46, 52)
_SCATTER_MM = 0.10
_ASSEMBLERS = ("Wren", "Tolly")
# Tolly sets the right outer foot a little further out: a habit, well inside the tolerance
_HABIT_MM = {"Wren": {}, "Tolly": {"page spacing right": 0.15}}
_SEED = 900


def _assembler(i: int) -> str:
    return _ASSEMBLERS[i % 2]


def _die(i: int) -> str:
    return "A" if i % 4 < 2 else "B"


def _shift(i: int) -> str:
    return "morning" if i < 7 else "afternoon"


def _time(i: int) -> datetime:
    start = datetime(2024, 5, 14, 8, 10) if i < 7 else datetime(2024, 5, 14, 13, 5)
    return start + timedelta(minutes=31 * (i % 7))


def lot() -> list[Shot]:
    """Return one photo of each sample: one phone, one sheet, the samples die-cut and glued by hand."""
    rng = np.random.default_rng([_SEED, 31])
    distortion = (0.021, -0.034)
    print_scale = (1.0021, 0.9987)
    out = []
    for i in range(COUNT):
        drift = round(DRIFT_MM * max(0, i + 2 - DRIFT_FROM), 2)
        faults = {"leg left": drift} if drift else {}
        lengths = hand_made(_NOMINAL, faults, _SCATTER_MM, rng)
        for name, habit in _HABIT_MM[_assembler(i)].items():
            lengths[name] += habit
        shot = Shot(
            name=f"ferry_{i + 1:02d}", spec="ferry.toml",
            title="Nine Lamps of Orrin Quay: the ferry, first run",
            classes=("3mp", "lot"), paper="a4", nominal=_NOMINAL, lengths=lengths, faults=faults,
            build=Build(
                card_mm=0.3, base_mm=0.4, strip_depth_mm=60, base_depth_mm=80, near_sd_mm=0.12,
                skew_sd_deg=0.08, pen_line=True,
            ),
            print_scale=print_scale, print_shift=(0.2, -0.3), roll_deg=0.15 * rng.normal(),
            spine_x=1.5 * rng.normal(), gap_mm=0.2, curl_mm=0.05, focal_35mm=52.4, exif_35mm=52, fill=0.80,
            elevation_deg=7.0 + rng.normal(), yaw_deg=1.2 * rng.normal(), tilt_deg=0.6 * rng.normal(),
            look=(0.01 * rng.normal(), 0.0), distortion=distortion, centre_off=(5.0, -3.0),
            size=(2000, 1500), light="soft", table="grey", behind="dark", stated_spread_mm=0.15,
            card=(0.80, 0.80, 0.78), plane=(0.62, 0.42, 0.13), exposure=0.68,
            sensor=Sensor(white=1.0, gain=(1.01, 1.0, 0.98), blur_px=0.65, sharpen=0.4, quality=88),
            when=f"{_time(i):%Y:%m:%d %H:%M:%S}", seed=_SEED + i,
        )  # fmt: skip
        out.append(shot)
    return out


def manifest() -> str:
    """Return the list of the samples as CSV: which photo, who, which die, when."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["sample", "photo", "assembler", "die", "shift", "time"])
    for i, shot in enumerate(lot()):
        when = _time(i).isoformat(timespec="minutes")
        rows.writerow([i + 1, f"{shot.name}.jpg", _assembler(i), _die(i), _shift(i), when])
    return text.getvalue()
