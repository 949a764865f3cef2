"""Pictures for "photograph a dummy in three steps": fold the sill, set its tick on the spine, ink ends."""

import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sample_images.rendering.cards.inked_ends import Ink
from sample_images.rendering.cards.meshes import Mesh, join
from sample_images.rendering.chance.catalogue import spread
from sample_images.rendering.orrin.orrin_quay import made
from sample_images.rendering.scene.laid_paper import Folded, Lie
from sample_images.rendering.scene.lit_scene import build_scene
from sample_images.rendering.scene.phone_camera import Camera, develop, expose, look_at
from sample_images.rendering.scene.staging import Shot, Stage, stage
from sample_images.rendering.scene.standing import Standing
from sample_images.rendering.scene.surroundings import revolved

Array = NDArray[np.float64]
SIZE = (1080, 720)

_BLUE, _GREY, _BLACK = (0.05, 0.12, 0.40), (0.55, 0.55, 0.55), (0.02, 0.02, 0.025)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One picture.

    Attributes
    ----------
    name : of the file. target, eye : in the table's frame, mm (spine at x = 0, near ends at z = 0).
    wide_mm : width of the picture at the target. without : see `build_scene`. bare : strips not inked yet.
    pen : where the pen's tip is, table frame, and the direction it comes from; None = no pen.
    """

    name: str
    target: tuple[float, float, float]
    eye: tuple[float, float, float]
    wide_mm: float
    without: tuple[str, ...] = ()
    bare: tuple[str, ...] = ()
    pen: tuple[str, tuple[float, float, float]] | None = None


STEPS = (
    Step(
        name="fold", target=(0.0, 66.0, 10.0), eye=(-330.0, 330.0, 640.0), wide_mm=390.0, without=("dummy",),
    ),
    Step(name="tick", target=(0.0, 16.0, 10.0), eye=(-60.0, 300.0, 480.0), wide_mm=200.0),
    Step(
        name="ink", target=(30.0, 16.0, 0.0), eye=(-70.0, 170.0, 460.0), wide_mm=150.0, without=("sheet",),
        bare=("leg right", "page right"), pen=("leg top right", (0.5, 0.62, 0.62)),
    ),
)  # fmt: skip


def ferry(ink: Ink | None) -> Shot:
    """Return the ferry on a spread of its own, the sheet's sill lying on the page."""
    shot = made(
        "steps", "the ferry", 51, spread(118, 12, 38, 46, 54), {},
        {"setback_mm": 48.0, "base_depth_mm": 120.0, "strip_depth_mm": 50.0, "ink": ink, "base_mm": 1.2},
        table="wood", behind="nothing", wall=(0.5, 0.5, 0.5),
    )  # fmt: skip
    lie = Lie(springs_deg=0.3)
    sill = Folded(off_mm=0.0, turn_deg=0.0, floats_mm=0.05, tick_off_mm=0.0, lies=(lie, lie))
    return replace(
        shot, standing=Standing(on_page=True), sill=sill, sill_print=True,
        print_scale=(1.0, 1.0), print_shift=(0.0, 0.0),
        gap_mm=0.4, opening_deg=179.8, base=(0.55, 0.62, 0.66), curl_mm=0.0,
    )  # fmt: skip


def felt_pen(tip: Array, towards: Array) -> list[tuple[Mesh, tuple[float, float, float]]]:
    """Return a felt pen with its tip at a point, its body reaching `towards` (unit vector)."""
    ink = np.array([[0.0, 0.0], [0.7, 0.4], [1.2, 6.0]])
    cone = np.array([[1.2, 6.0], [3.2, 10.0], [5.6, 30.0]])
    body = np.array([[5.6, 30.0], [6.2, 34.0], [6.2, 120.0], [0.0, 121.0]])
    side = np.cross(towards, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    turn = np.column_stack([side, towards, np.cross(side, towards)])
    parts = ((ink, _BLACK), (cone, _GREY), (body, _BLUE))
    return [(join([revolved(p, np.zeros(3))]).moved(turn, tip), colour) for p, colour in parts]


def camera_of(step: Step, at: Stage) -> Camera:
    """Camera of a picture, in the sheet's frame."""
    eye, target = (at.table_rot @ np.array(p) + at.table_shift for p in (step.eye, step.target))
    rot, shift = look_at(eye, target, 0.0)
    far = float(np.linalg.norm(eye - target))
    return Camera(
        rot=rot, shift=shift, f_px=SIZE[0] * far / step.wide_mm, k1=0.0, k2=0.0,
        centre=((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), size=SIZE, aperture_mm=1.2, focus_mm=far,
    )  # fmt: skip


def take_step(step: Step, out: Path, *, spp: int, tell: Callable[[str], None]) -> None:
    """Render one picture as a JPEG."""
    shot = ferry(Ink(spread_mm=0.06, thin=0.05, forgotten=step.bare, seed=3) if step.name == "ink" else None)
    at = stage(shot)
    more = []
    if step.pen:
        joint, towards = step.pen
        tip = at.table_rot.T @ (at.points[joint] - at.table_shift) + [1.0, 0.2, 0.3]
        more = felt_pen(tip, np.array(towards) / math.hypot(*towards))
    with tempfile.TemporaryDirectory() as folder:
        scene = build_scene(shot, at, Path(folder), without=step.without, more=more)
        linear = expose(scene, camera_of(step, at), spp, shot.seed + 9)
    sensor = replace(
        shot.sensor, white=float(np.percentile(linear.mean(axis=2), 97)) / 0.8, blur_px=0.4, shot=0.003
    )
    rgb = develop(linear, sensor, np.random.default_rng([shot.seed, 5]))
    Image.fromarray(rgb).save(out / f"step_{step.name}.jpg", quality=88)
    tell(f"step_{step.name}.jpg")
