"""More spreads of "Nine Lamps of Orrin Quay": one photo for each further mechanism."""

from dataclasses import replace

from sample_images.rendering.cards.own_linkage import SIDES
from sample_images.rendering.cards.planar_kinds import FLAPS, LEGS, SCISSORS, STAGES, SUPPORT
from sample_images.rendering.cards.spatial_kinds import PILLAR, VFOLD, VFOLD_UNEVEN
from sample_images.rendering.chance.catalogue import spread
from sample_images.rendering.orrin.orrin_quay import made
from sample_images.rendering.scene.staging import Shot

_SHED = {
    "page left": 112.0, "page right": 112.0, "foot right": 12.0, "fold right": 36.0,
    "page spacing right": 50.0, "plane spacing right": 50.0, "leg right": 36.0, "plane right": 56.0,
    "support foot left": 10.0, "support left": 32.0, "support tab left": 6.0,
}  # fmt: skip

_FISH_MARKET = {
    k: v for k, v in spread(112, 12, 36, 52, 58).items() if k not in
    ("page spacing right", "plane spacing right", "leg right")
} | {
    f"{name} {i} right": at for i, far in ((1, 26.0), (2, 52.0))
    for name, at in (("page spacing", far), ("plane spacing", far), ("leg", 36.0))
}  # fmt: skip

_SLIPWAY = spread(114, 12, 36, 48, 54) | {"leg right": 42.0, "plane spacing right": 54.0, "plane right": 60.0}

_TOWER = (
    spread(122, 12, 36, 50, 56)
    | {f"stage 2 {k}": v for k, v in spread(0, 8, 22, 28, 34).items() if k[:6] not in ("page l", "page r")}
    | {f"stage 3 {k}": v for k, v in spread(0, 6, 14, 14, 20).items() if k[:6] not in ("page l", "page r")}
)

_BRIDGE = {
    name.format(s): v for s in SIDES for name, v in (
        ("page {}", 100.0), ("vfold foot {}", 28.28), ("vfold {}", 34.0), ("leg {}", 34.0),
        ("page spacing {}", 34.0), ("plane spacing {}", 34.0), ("plane {}", 70.0),
    )
}  # fmt: skip

_SHORE = {
    "page left": 104.0, "page right": 104.0, "vfold foot left": 23.73, "vfold foot right": 33.70,
    "vfold left": 34.0, "vfold right": 34.0, "page spacing right": 30.0, "plane spacing right": 30.0,
    "leg right": 34.0, "plane left": 40.0, "plane right": 74.0,
}  # fmt: skip

_TABLE = {"height": 34.0} | {
    name.format(s): v for s in SIDES for name, v in (
        ("page {}", 100.0), ("page spacing {}", 46.0), ("plane spacing {}", 58.02), ("leg {}", 36.06),
        ("plane {}", 66.0),
    )
}  # fmt: skip

_DOCK = spread(118, 10, 32, 44, 48) | {
    name.format(s): v for s in SIDES
    for name, v in (("flap hinge {}", 80.0), ("flap {}", 34.0), ("strap {}", 24.0))
}  # fmt: skip

_WALL = spread(104, 12, 36, 44, 50)

_CRANE = {
    name.format(s): v for s in SIDES for name, v in (
        ("page {} 1", 12.0), ("page {} 2", 92.0), ("strip {} 1", 36.0), ("strip {} 2", 18.0),
        ("roof {}", 26.0),
    )
}  # fmt: skip

_RED, _TEAL, _SAND, _PLUM = (0.52, 0.14, 0.10), (0.10, 0.38, 0.38), (0.66, 0.55, 0.36), (0.33, 0.16, 0.34)

MECHANISMS: tuple[Shot, ...] = tuple(replace(shot, classes=("mechanism",)) for shot in (
    made(
        "tab_support", "the customs shed", 21, _SHED, {"support left": -1.8}, kind=SUPPORT, paper="a3",
        focal_35mm=52.1, fill=0.80, table="wood",
    ),
    made(
        "many_legs", "the fish market", 22, _FISH_MARKET, {"leg 2 right": -1.5}, kind=LEGS, paper="tabloid",
        focal_35mm=52.8, fill=0.80, table="grey", plane=_SAND,
    ),
    made(
        "oblique", "the slipway", 23, _SLIPWAY, {}, {"ribbons": False}, use="backdrop", behind="nothing",
        focal_35mm=70.2, exif_35mm=70, fill=0.62, table="mat",
    ),
    made(
        "stages", "the light tower", 24, _TOWER, {"stage 2 leg right": -1.5}, {"tab_mm": 5.5}, kind=STAGES,
        paper="a3", focal_35mm=52.0, fill=0.80, table="wood", plane=_TEAL,
    ),
    made(
        "vfold", "the swing bridge", 25, _BRIDGE, {}, {"base_depth_mm": 100.0}, kind=VFOLD,
        focal_35mm=52.5, fill=0.76, table="grey", plane=_SAND,
    ),
    made(
        "vfold_uneven", "the lee shore", 26, _SHORE, {"leg right": -1.6},
        {"base_depth_mm": 100.0}, kind=VFOLD_UNEVEN, focal_35mm=65.3, exif_35mm=65,
        fill=0.76, table="wood", plane=_TEAL,
    ),
    made(
        "pillar", "the captain's table", 27, _TABLE, {}, {"base_depth_mm": 120.0, "strip_depth_mm": 90.0},
        kind=PILLAR, focal_35mm=52.2, fill=0.76, table="mat", plane=_RED,
    ),
    made(
        "flaps", "the dock gates", 28, _DOCK, {"strap right": 2.0}, kind=FLAPS, paper="a3",
        focal_35mm=51.8, fill=0.80, table="wood", plane=_SAND,
    ),
    made(
        "background", "the harbour wall", 29, _WALL, {}, {"ribbons": False}, opening=90.0,
        opening_deg=90.7, focal_35mm=52.6, fill=0.76, table="grey", plane=_PLUM,
    ),
    made(
        "scissors", "the net crane", 30, _CRANE, {}, kind=SCISSORS, focal_35mm=52.3, fill=0.76,
        table="wood", card=_SAND,
    ),
))  # fmt: skip
