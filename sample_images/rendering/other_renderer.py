"""Random photographs by another path tracer, lens and tone curve than those of `render.py`.

    python sample_images/rendering/other_renderer.py CLASS SEED arch|backdrop -o DIR [--plain] [--pen]
    [--spp 6]

The dummies are those of `render.py --random`; light, surfaces, lens (tangential distortion, colour fringes,
vignetting), defocus, noise, sharpening and tone curve are others, and the renderer's own denoiser smooths the
picture. With --plain every panel is a separate slab from joint to joint, without gluing tabs.

Needs Blender's Python module `bpy` (5.0) with NumPy 1.26 in an environment of its own, and reportlab,
pypdfium2, OpenCV, Pillow and SciPy. Two to four minutes a photo on one core, 6 GB.
"""

import argparse
import json
import math
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import bpy  # noqa: E402
import cv2  # noqa: E402
import numpy as np  # noqa: E402
from mathutils import Matrix  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from sample_images.rendering.chance.catalogue import CLASSES, random_shot, spec_text  # noqa: E402
from sample_images.rendering.chance.random_series import Wish, granted  # noqa: E402
from sample_images.rendering.scene.other_scene import UNIT, furnish, slabs  # noqa: E402
from sample_images.rendering.scene.phone_camera import Camera, jpeg, unbent  # noqa: E402
from sample_images.rendering.scene.staging import Shot, stage, truth  # noqa: E402

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

FINER = 1.15  # the ideal picture has so many more pixels, before the lens bends it
ROUGHLY_PERCENT, ROUGHLY_SPP = 20, 10
"""What is not measured is traced at that share of the size."""


def ideal(cam: Camera, size: tuple[int, int], core_mm: Array, spp: int, seed: int) -> Picture:
    """Linear picture by an ideal lens: fine where points (N, 3) lie, rough elsewhere."""
    scene = bpy.context.scene
    wide, high = size
    lens = bpy.data.cameras.new("camera")
    item = scene.camera = bpy.data.objects.new("camera", lens)
    bpy.context.collection.objects.link(item)
    pose = np.eye(4)
    pose[:3, :3] = cam.rot.T @ np.diag([1.0, -1.0, -1.0])
    pose[:3, 3] = -cam.rot.T @ cam.shift * UNIT
    item.matrix_world = Matrix(pose.tolist())
    lens.sensor_fit, lens.sensor_width, lens.lens = "HORIZONTAL", 36.0, 36.0 * FINER * cam.f_px / wide
    lens.clip_start, lens.clip_end = 0.01, 200.0
    lens.dof.use_dof, lens.dof.focus_distance = True, cam.focus_mm * UNIT
    lens.dof.aperture_fstop = lens.lens / 1000 / (2 * cam.aperture_mm * UNIT)
    lens.dof.aperture_blades = 6
    cycles, render = scene.cycles, scene.render
    render.engine, cycles.device, cycles.seed, cycles.max_bounces = "CYCLES", "CPU", seed, 5
    cycles.use_denoising, cycles.denoiser, cycles.filter_width = True, "OPENIMAGEDENOISE", 1.2
    cycles.use_adaptive_sampling, cycles.adaptive_threshold = True, 0.03
    render.resolution_x, render.resolution_y = size
    render.image_settings.file_format, render.image_settings.color_depth = "OPEN_EXR", "32"
    scene.view_settings.view_transform = "Raw"

    def shoot(percent: int, paths: int) -> Picture:
        with tempfile.TemporaryDirectory() as folder:
            render.filepath = str(Path(folder) / "linear.exr")
            render.resolution_percentage, cycles.samples = percent, paths
            bpy.ops.render.render(write_still=True)
            image = bpy.data.images.load(render.filepath)
            image.colorspace_settings.name = "Non-Color"
            pixels = np.empty(image.size[0] * image.size[1] * 4, np.float32)
            image.pixels.foreach_get(pixels)
            out = pixels.reshape(image.size[1], image.size[0], 4)[::-1, :, :3]
        return np.ascontiguousarray(out)

    out = cv2.resize(shoot(ROUGHLY_PERCENT, ROUGHLY_SPP), size, interpolation=cv2.INTER_CUBIC)
    seen = core_mm @ cam.rot.T + cam.shift
    px = FINER * cam.f_px * seen[:, :2] / seen[:, 2:] + (np.array(size) - 1) / 2
    x0, y0 = np.clip(px.min(axis=0) - 60, 0, size).astype(int)
    x1, y1 = np.clip(px.max(axis=0) + 60, 0, size).astype(int)
    render.use_border = True
    render.border_min_x, render.border_max_x = x0 / wide, x1 / wide
    render.border_min_y, render.border_max_y = 1 - y1 / high, 1 - y0 / high
    inner = (slice(y0 + 2, y1 - 2), slice(x0 + 2, x1 - 2))
    out[inner] = shoot(100, spp)[inner]
    return np.asarray(out, np.float32)


def developed(linear: Picture, shot: Shot, rng: np.random.Generator) -> NDArray[np.uint8]:
    """8-bit picture (H, W, 3): exposed for the highlights, with a soft shoulder."""
    sensor = shot.sensor
    light = np.clip(linear, 0, None) / np.percentile(linear.mean(axis=2), 97) * rng.uniform(0.75, 1.0)
    light = light * np.asarray(sensor.gain, np.float32)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), max(0.3, sensor.blur_px - 0.25))
    sd = np.sqrt(sensor.shot**2 * np.clip(light, 0, 1) + sensor.read**2)
    light = light + sd * rng.standard_normal(light.shape, dtype=np.float32)
    for channel, softer in enumerate((0.8, 0.4, 0.8)):
        light[..., channel] = cv2.GaussianBlur(light[..., channel], (0, 0), softer)
    light = np.clip(light, 0, None)
    light = np.clip(1.25 * light * (1 + light / 4) / (1 + light), 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    coded = coded + 1.2 * sensor.sharpen * (coded - cv2.GaussianBlur(coded, (0, 0), 1.6))
    return np.asarray(np.clip(np.rint(coded * 255), 0, 255), np.uint8)


def take(shot: Shot, out: Path, *, plain: bool, spp: int) -> None:
    """Render one photo; its truth file has no places in pixels, for the lens is not that of `View`."""
    at = stage(shot)
    rng = np.random.default_rng([shot.seed, 77])
    bpy.ops.wm.read_factory_settings(use_empty=True)
    kept = [p for p in at.parts if p.stuff.startswith(("prop", "book"))]
    furnish(shot, at, slabs(shot, at) + kept if plain else at.parts, rng)
    cam = at.camera
    lens = {"p1": 4e-4 * rng.normal(), "p2": 4e-4 * rng.normal(), "k3": 0.03 * rng.normal()}
    x, y = unbent(cam, **lens)
    size = tuple(2 * math.ceil(FINER * cam.f_px * float(np.abs(n).max())) + 12 for n in (x, y))
    w, h = np.array(at.sheet.paper_mm) / 2
    core = [[sx * w, sy * h, 0.0] for sx in (-1, 1) for sy in (-1, 1)]
    core += [[*p, at.standoff] for p in at.joints.values()]
    straight = ideal(cam, (size[0], size[1]), np.array(core), spp, shot.seed)
    fringe = 2e-4 * rng.normal(size=2)
    photo = np.empty((*x.shape, 3), np.float32)
    for channel, larger in enumerate((1 + fringe[0], 1.0, 1 + fringe[1])):
        at_x = (FINER * cam.f_px * x * larger + (size[0] - 1) / 2).astype(np.float32)
        at_y = (FINER * cam.f_px * y * larger + (size[1] - 1) / 2).astype(np.float32)
        photo[..., channel] = cv2.remap(straight[..., channel], at_x, at_y, cv2.INTER_CUBIC)
    photo /= (1 + 0.7 * (x * x + y * y)).astype(np.float32)[..., None] ** 2
    rgb = developed(photo, shot, np.random.default_rng([shot.seed, 78]))
    out.mkdir(parents=True, exist_ok=True)
    (out / shot.spec).write_text(spec_text(shot))
    told = {**truth(shot, at), "more_distortion": lens}
    del told["joints_px"], told["view_params"]
    (out / f"{shot.name}.truth.json").write_text(json.dumps(told, indent=1) + "\n")
    (out / f"{shot.name}.jpg").write_bytes(jpeg(rgb, shot.sensor.quality, shot.exif_35mm, shot.when))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("kind", choices=sorted(CLASSES))
    parser.add_argument("seed", type=int)
    parser.add_argument("use", choices=("arch", "backdrop"))
    parser.add_argument("-o", dest="out", type=Path, required=True)
    parser.add_argument("--plain", action="store_true", help="separate slabs without gluing tabs")
    parser.add_argument("--pen", action="store_true", default=None, help="felt-pen line along the base")
    parser.add_argument("--spp", type=int, default=6, help="paths per pixel (default 6)")
    args = parser.parse_args()
    wish = Wish(pen=False if args.plain else args.pen)
    shot = granted(random_shot(args.kind, args.seed, args.use), wish)
    name = f"{'plain' if args.plain else 'other'}-{shot.name}"
    shot = replace(shot, name=name, spec=f"{name}.toml")
    take(shot, args.out, plain=args.plain, spp=args.spp)


if __name__ == "__main__":
    main()
