"""The sample set: dummies for the spreads of an imaginary pop-up book, "Nine Lamps of Orrin Quay"."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from sample_images.rendering.cards.card_dummy import Build
from sample_images.rendering.cards.inked_ends import Ink
from sample_images.rendering.chance.catalogue import hand_made, spread
from sample_images.rendering.scene.laid_paper import Folded, Laid, Lie
from sample_images.rendering.scene.phone_camera import Sensor
from sample_images.rendering.scene.staging import Shot
from sample_images.rendering.scene.standing import Standing

_HAND_SD_MM = 0.10  # how well these strips are scored where nothing is wrong on purpose


def good_sensor(seed: int, quality: int = 91, **more: Any) -> Sensor:
    """Return a phone's sensor in good light; its colour balance is drawn from the seed."""
    rng = np.random.default_rng([seed, 7])
    gain = tuple(1 + 0.02 * rng.normal(size=3))
    return Sensor(white=1.0, gain=gain, quality=quality, **{"blur_px": 0.8, "sharpen": 0.4} | more)


def made(
    name: str,
    title: str,
    seed: int,
    nominal: Mapping[str, float],
    faults: Mapping[str, float],
    build: Mapping[str, Any] | None = None,
    opening: float = 180.0,
    **rest: Any,
) -> Shot:
    """Make one shot: lengths with hand-cut noise and faults; what is not said is drawn from the seed."""
    rng = np.random.default_rng([seed, 11])
    drawn: dict[str, Any] = {
        "print_scale": tuple(1 + rng.uniform(-0.006, 0.006, 2)),
        "print_shift": tuple(0.3 * rng.normal(size=2)),
        "roll_deg": 0.2 * rng.normal(), "spine_x": 3.0 * rng.normal(), "curl_mm": rng.uniform(-0.15, 0.15),
        "distortion": (0.03 * rng.normal(), 0.04 * rng.normal()), "centre_off": tuple(8 * rng.normal(size=2)),
        "yaw_deg": 1.5 * rng.normal(), "tilt_deg": 0.8 * rng.normal(),
        "look": tuple(rng.uniform(-0.02, 0.02, 2)),
        "elevation_deg": rng.uniform(5.0, 9.0), "fill": 0.70, "sensor": good_sensor(seed),
        "when": f"2024:{3 + seed % 4:02d}:{5 + seed:02d} 1{seed % 8}:2{seed % 6}:{10 + seed}",
    }  # fmt: skip
    put: dict[str, Any] = {"base_depth_mm": 80.0, "near_sd_mm": 0.3} | dict(build or {})
    given: dict[str, Any] = {"spec": f"{name}.toml", "opening_deg": opening} | drawn | rest
    return Shot(
        name=name, title=f"Nine Lamps of Orrin Quay: {title}", seed=seed, nominal=nominal, faults=faults,
        lengths=hand_made(nominal, faults, _HAND_SD_MM, rng),
        nominal_opening=opening,
        build=Build(**put), **given,
    )  # fmt: skip


_FERRY = spread(104, 12, 38, 46, 48)
_CRANE = spread(105, 12, 40, 50, 52)
_SLIPWAY = spread(100, 14, 36, 44, 48)
_NET_LOFT = spread(100, 10, 34, 42, 52)
_MARKET = spread(108, 12, 36, 46, 58)
_PIER = spread(102, 13, 40, 42, 47, sides=("right",))
_LAMP_ROOM = spread(96, 12, 36, 40, 46)
_NIGHT_BOAT = spread(100, 12, 35, 48, 52)
_TOLLHOUSE = spread(100, 11, 37, 45, 50)
_ROPE_WALK = spread(104, 14, 42, 40, 46)
_LOOKOUT = spread(148, 18, 56, 62, 72) | {"foot left": 24.0, "fold left": 50.0, "leg left": 50.0}

_FERRY_PAGE = spread(118, 12, 38, 46, 54)
_WEIGH_HOUSE = spread(116, 14, 40, 42, 50)
_CHANDLERY = spread(116, 13, 36, 46, 56)

_INKED = Ink(spread_mm=0.05, gaps=0.0, thin=0.08, seed=15)
_LIES = tuple(Lie(springs_deg=s, bow_mm=b, settles=0.95, coin=True) for s, b in ((0.2, 0.02), (0.15, -0.03)))
_ON_PAGE = {
    "standing": Standing(turn_deg=0.25, lean_deg=-0.15, on_page=True), "sill_print": True, "gap_mm": 0.6,
    "opening_deg": 179.8, "behind": "nothing", "curl_mm": 0.1, "elevation_deg": 9.0, "fill": 0.82,
    "spine_x": 0.0,
}  # fmt: skip
_OWN_PAGE = {"setback_mm": 46.0, "base_depth_mm": 122.0, "base_mm": 1.2, "ink": _INKED}


def _folded(tick_off_mm: float) -> Folded:
    return Folded(off_mm=0.15, turn_deg=0.02, floats_mm=0.05, tick_off_mm=tick_off_mm, lies=_LIES)


_BLUE, _OCHRE, _INK = (0.16, 0.30, 0.55), (0.62, 0.42, 0.13), (0.035, 0.04, 0.065)

SAMPLES: tuple[Shot, ...] = (
    made("good_arch", "the ferry", 1, _FERRY, {}, focal_35mm=52.3, table="wood"),
    made(
        "good_backdrop", "the ferry", 2, _FERRY, {}, spec="good_arch.toml", use="backdrop", behind="nothing",
        focal_35mm=70.4, exif_35mm=70, fill=0.62, table="grey", gap_mm=0.2,
    ),
    made(
        "short_leg", "the crane", 3, _CRANE, {"leg right": -2.0}, {"card_mm": 0.3},
        focal_35mm=52.6, table="wood",
    ),
    made(
        "foot_off", "the slipway", 4, _SLIPWAY, {"page spacing right": 2.5}, {"ribbons": True},
        use="backdrop", behind="clutter", focal_35mm=64.5, exif_35mm=65, fill=0.62, table="mat",
        light="mixed", gap_mm=0.3,
    ),
    made(
        "crease_off", "the net loft", 5, _NET_LOFT, {"plane right": 3.0, "plane left": -3.0},
        {"crease_off_mm": 3.0, "ribbons": True}, focal_35mm=69.2, exif_35mm=70, table="grey",
    ),
    made(
        "oversize", "the night market", 6, _MARKET, {"plane right": 7.0, "plane left": 5.0}, use="backdrop",
        behind="nothing", focal_35mm=76.3, exif_35mm=77, fill=0.60, table="light", plane=(0.74, 0.70, 0.60),
    ),
    made(
        "asymmetric", "the lookout", 7, _LOOKOUT, {"leg left": 2.0},
        {"strip_depth_mm": 80.0, "base_depth_mm": 105.0}, paper="a3", focal_35mm=51.7, fill=0.72,
        table="wood", wall=(0.35, 0.42, 0.45),
    ),
    made(
        "one_sided", "the pier", 8, _PIER, {"fold right": -1.8}, focal_35mm=52.4, paper="letter", table="mat",
        card=(0.72, 0.66, 0.52), plane=(0.74, 0.68, 0.55),
    ),
    made(
        "propped", "the lamp room", 9, _LAMP_ROOM, {"leg left": -2.0}, opening=120.0, opening_deg=120.6,
        focal_35mm=52.0, table="grey",
    ),
    made(
        "dark_card", "the night boat", 10, _NIGHT_BOAT, {"leg right": 1.8},
        {"card_mm": 0.35}, card=_INK, plane=_INK, core=(0.16, 0.16, 0.18), focal_35mm=65.5,
        exif_35mm=65, table="light", behind="nothing", exposure=0.8,
    ),
    made(
        "lamp_clutter", "the tollhouse", 11, _TOLLHOUSE, {"leg left": -1.6}, light="hard", behind="clutter",
        focal_35mm=51.4, exif_35mm=52, table="wood", card=_OCHRE, plane=_BLUE, exposure=0.7,
    ),
    made(
        "pen_line", "the ferry, second try", 12, _FERRY, {"foot right": 2.2}, {"pen_line": True},
        spec="good_arch.toml", focal_35mm=52.2, table="wood",
    ),
    made(
        "dim_light", "the rope walk", 13, _ROPE_WALK, {"plane spacing left": -2.2}, {"ribbons": True},
        light="dim",         focal_35mm=48.3, exif_35mm=48, table="dark", exposure=0.5,
        sensor=good_sensor(13, 90, shot=0.012, read=0.004, sharpen=0.3),
    ),
    made(
        "good_sill", "the ferry on its spread", 15, _FERRY_PAGE, {}, _OWN_PAGE, sill=_folded(0.25),
        focal_35mm=52.4, table="wood", base=(0.60, 0.66, 0.70), **_ON_PAGE,
    ),
    made(
        "sill_short_leg", "the weigh house", 16, _WEIGH_HOUSE, {"leg right": -2.0},
        _OWN_PAGE | {"setback_mm": 38.0, "base_mm": 0.4}, sill=_folded(-0.3), focal_35mm=51.8, table="grey",
        base=(0.74, 0.70, 0.60), wall=(0.62, 0.62, 0.60), **_ON_PAGE,
    ),
    made(
        "doorstep", "the chandlery", 17, _CHANDLERY, {"page spacing left": 1.5},
        _OWN_PAGE | {"setback_mm": 42.0, "base_mm": 2.0, "base_depth_mm": 116.0}, use="backdrop",
        doorstep=Laid(gap_mm=0.4, turn_deg=0.15, floats_mm=0.03, tick_off_mm=0.2, lies=_LIES),
        focal_35mm=65.2, exif_35mm=65, table="wood", **_ON_PAGE | {"fill": 0.7},
    ),
    made(
        "unusable", "the ferry", 14, _FERRY, {}, spec="good_arch.toml", focal_35mm=52.0, table="wood",
        defocus_mm=330.0, aperture_mm=3.2, look=(0.28, 0.05), behind="clutter",
    ),
)  # fmt: skip
