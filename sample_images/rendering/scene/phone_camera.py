"""A phone camera: rays with exact lens distortion and defocus, then sensor, tone curve, JPEG and EXIF.

The lens is that of `capture.camera.view.View`, so a point seen in a rendered photo lies where
`View.project` says.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from capture.camera.view import View

Array = NDArray[np.float64]
Picture = NDArray[np.float32]
Rectangle = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Camera:
    """Where the camera stands and what lens it has.

    Attributes
    ----------
    rot, shift : sheet point x (mm) is at rot @ x + shift in the camera (x right, y down, z forward).
    f_px : focal length, px. k1, k2 : radial distortion. centre : principal point, px.
    size : (width, height), px.
    aperture_mm : radius of the lens opening. focus_mm : distance (along the axis) that is sharp.
    """

    rot: Array
    shift: Array
    f_px: float
    k1: float
    k2: float
    centre: tuple[float, float]
    size: tuple[int, int]
    aperture_mm: float
    focus_mm: float

    def view(self, print_scale: tuple[float, float] = (1.0, 1.0)) -> View:
        """Return the same camera as a `View` (covariance zero: this is the truth)."""
        rvec, _ = cv2.Rodrigues(self.rot)
        tail = [math.log(self.f_px), self.k1, self.k2, *self.centre, *np.log(print_scale)]
        params = np.concatenate([rvec.ravel(), self.shift, tail])
        return View(params=params, cov=np.zeros((13, 13)), size=self.size, rms_px=0.0, n_saddles=0)

    def scaled(self, factor: float) -> "Camera":
        """Return the same camera with another number of pixels; pixel centres are at whole numbers."""
        cx, cy = ((c + 0.5) * factor - 0.5 for c in self.centre)
        size = (round(self.size[0] * factor), round(self.size[1] * factor))
        return replace(self, f_px=self.f_px * factor, centre=(cx, cy), size=size)


def look_at(eye: Array, target: Array, roll_deg: float) -> tuple[Array, Array]:
    """Rotation and shift of a camera at `eye` looking at `target` (both (3,), mm), turned about its axis."""
    forward = (target - eye) / np.linalg.norm(target - eye)
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    rot = np.stack([right, np.cross(forward, right), forward])
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    rot = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ rot
    return rot, -rot @ eye


@dataclass(frozen=True, slots=True)
class Tile:
    """Part of a picture.

    Attributes
    ----------
    area : (x0, y0, x1, y1) in pixels, multiples of `shrink`. spp : paths per pixel.
    shrink : the part is traced at a size smaller by this factor, for what is of no interest.
    """

    area: Rectangle
    spp: int
    shrink: int = 1


def around(outer: Rectangle, inner: Rectangle) -> list[Rectangle]:
    """Four rectangles that fill what `outer` has and `inner` has not."""
    (a, b, c, d), (x0, y0, x1, y1) = outer, inner
    return [(a, b, c, y0), (a, y0, x0, y1), (x1, y0, c, y1), (a, y1, c, d)]


def expose(
    scene: Any,
    cam: Camera,
    spp: int,
    seed: int,
    tiles: Sequence[Tile] | None = None,
) -> Picture:
    """Path-trace the linear picture (H, W, 3) with a box filter and exact rays for lens and defocus.

    Parameters
    ----------
    scene : a Mitsuba scene in sheet coordinates.
    spp : paths per pixel (made a square number). seed : seed of the sampler.
    tiles : how to share out the paths over the picture, see `Tile`; None: the same everywhere.
    """
    import mitsuba as mi

    if str(mi.variant()).startswith("scalar"):
        return _remapped(scene, cam, spp, seed)
    wide, high = cam.size
    out = np.empty((high, wide, 3), np.float32)
    for tile in tiles or [Tile((0, 0, wide, high), spp)]:
        left, top, right, bottom = (c // tile.shrink for c in tile.area)
        if right <= left or bottom <= top:
            continue
        lens = cam if tile.shrink == 1 else cam.scaled(1 / tile.shrink)
        n = max(1, math.isqrt(tile.spp)) ** 2
        rows = max(1, 6_000_000 // ((right - left) * n))
        bands = [
            _trace(scene, lens, n, seed, (left, y, right, min(y + rows, bottom)))
            for y in range(top, bottom, rows)
        ]
        picture = np.concatenate(bands)
        x0, y0, x1, y1 = tile.area
        out[y0:y1, x0:x1] = picture if tile.shrink == 1 else cv2.resize(picture, (x1 - x0, y1 - y0))
    return out


def unbent(cam: Camera, k3: float = 0.0, p1: float = 0.0, p2: float = 0.0) -> tuple[Array, Array]:
    """Ideal image coordinates x and y (H, W) of every pixel, the lens (and more distortion) taken out."""
    wide, high = cam.size
    yd, xd = np.mgrid[0:high, 0:wide].astype(float)
    xd, yd = (xd - cam.centre[0]) / cam.f_px, (yd - cam.centre[1]) / cam.f_px
    x, y = xd, yd
    for _ in range(12):
        r2 = x * x + y * y
        radial = 1 + r2 * (cam.k1 + r2 * (cam.k2 + r2 * k3))
        dx = 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
        dy = p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
        x, y = (xd - dx) / radial, (yd - dy) / radial
    return x, y


def _remapped(scene: Any, cam: Camera, spp: int, seed: int) -> Picture:
    """Do without LLVM: an ideal lens's picture, resampled to the distorted one (slow, softer)."""
    import mitsuba as mi

    xn, yn = unbent(cam)
    w, h = (2 * math.ceil(cam.f_px * float(np.abs(n).max())) + 8 for n in (xn, yn))
    to_world = np.eye(4)  # the renderer's camera has x to the left and y up
    to_world[:3, :3] = cam.rot.T @ np.diag([-1.0, -1.0, 1.0])
    to_world[:3, 3] = -cam.rot.T @ cam.shift
    sensor = mi.load_dict(
        {
            "type": "thinlens",
            "to_world": mi.ScalarTransform4f(to_world.tolist()),
            "fov": math.degrees(2 * math.atan(w / 2 / cam.f_px)),
            "fov_axis": "x",
            "aperture_radius": max(cam.aperture_mm, 1e-3),
            "focus_distance": cam.focus_mm,
            "near_clip": 1.0,
            "far_clip": 1e5,
            "film": {"type": "hdrfilm", "width": w, "height": h, "rfilter": {"type": "box"}},
            "sampler": {"type": "independent", "sample_count": spp},
        }
    )
    integrator = mi.load_dict({"type": "path", "max_depth": 3, "rr_depth": 8})
    ideal = np.asarray(
        mi.render(scene, sensor=sensor, integrator=integrator, spp=spp, seed=mi.UInt32(seed)), np.float32
    )
    at_x = (cam.f_px * xn + (w - 1) / 2).astype(np.float32)
    at_y = (cam.f_px * yn + (h - 1) / 2).astype(np.float32)
    # linear: OpenCV's cubic kernel moves what lies between the pixels by up to 0.06 px
    return np.asarray(cv2.remap(ideal[..., :3], at_x, at_y, cv2.INTER_LINEAR), np.float32)


def _trace(scene: Any, cam: Camera, spp: int, seed: int, tile: tuple[int, int, int, int]) -> Picture:
    """Radiance (rows, cols, 3) of a rectangle of pixels."""
    import drjit as dr
    import mitsuba as mi

    left, top, right, bottom = tile
    wide = right - left
    n = wide * (bottom - top) * spp
    integrator = mi.load_dict({"type": "path", "max_depth": 3, "rr_depth": 8})
    sampler = mi.load_dict({"type": "multijitter", "sample_count": spp})
    sampler.set_samples_per_wavefront(spp)
    sampler.seed((seed * 1_000_003 + top * 4001 + left) % 2**32, n)
    lane = dr.arange(mi.UInt32, n) // spp
    jitter, lens = sampler.next_2d(), sampler.next_2d()
    # pixel (0, 0) is the CENTRE of the first pixel, so its area is -0.5 to 0.5
    columns = dr.opaque(mi.UInt32, wide)  # opaque numbers: one compiled kernel serves every tile
    f_px, centre_x, centre_y = (dr.opaque(mi.Float, c) for c in (cam.f_px, *cam.centre))
    px = mi.Float(lane % columns) + dr.opaque(mi.Float, left) + (jitter.x - 0.5)
    py = mi.Float(lane // columns) + dr.opaque(mi.Float, top) + (jitter.y - 0.5)
    xd = (px - centre_x) / f_px
    yd = (py - centre_y) / f_px
    xn, yn = mi.Float(xd), mi.Float(yd)
    for _ in range(12):
        r2 = xn * xn + yn * yn
        scale = 1.0 / (1.0 + r2 * (cam.k1 + cam.k2 * r2))
        xn, yn = xd * scale, yd * scale
    disk = mi.warp.square_to_uniform_disk_concentric(lens) * cam.aperture_mm
    # all rays of a pixel cross where its pinhole ray meets the sharp plane
    dx, dy, dz = xn * cam.focus_mm - disk.x, yn * cam.focus_mm - disk.y, cam.focus_mm
    to_sheet, eye = cam.rot.T, -cam.rot.T @ cam.shift

    def turn(x: Any, y: Any, z: Any) -> Any:
        return mi.Vector3f(*(float(r[0]) * x + float(r[1]) * y + float(r[2]) * z for r in to_sheet))

    origin = mi.Point3f(*map(float, eye)) + turn(disk.x, disk.y, 0.0)
    ray = mi.RayDifferential3f(origin, dr.normalize(turn(dx, dy, dz)))
    light, _, _ = integrator.sample(scene, sampler, ray)
    mean = [dr.block_sum(c, spp) / spp for c in (light.x, light.y, light.z)]
    dr.eval(*mean)
    out: Picture = np.stack([np.asarray(c) for c in mean], axis=1).reshape(bottom - top, wide, 3)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """How light becomes a photo.

    Attributes
    ----------
    white : linear radiance that fills the sensor after exposure (larger values clip).
    gain : colour balance left over, factors of red, green, blue.
    blur_px : standard deviation of lens and demosaicing blur.
    shot, read : noise of a full well's photon count, sd = shot sqrt(signal), and dark noise (full scale 1).
    sharpen : strength of the phone's unsharp mask.
    quality : JPEG quality.
    """

    white: float
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    blur_px: float = 0.75
    shot: float = 0.006
    read: float = 0.001
    sharpen: float = 0.5
    quality: int = 91


def develop(linear: Picture, sensor: Sensor, rng: np.random.Generator) -> NDArray[np.uint8]:
    """8-bit sRGB picture (H, W, 3) from linear radiance: noise, blur, clipping, sharpening, tone curve."""
    signal = linear / np.float32(sensor.white) * np.asarray(sensor.gain, np.float32)
    # sky-bright specks of single paths are no part of a photo
    signal = np.minimum(signal, 4.0)
    # a phone smooths noise but not edges, and so must we with few paths per pixel
    signal = cv2.bilateralFilter(np.sqrt(signal), 5, 0.08, 1.6) ** 2
    signal = cv2.GaussianBlur(signal, (0, 0), sensor.blur_px)
    sd = np.sqrt(sensor.shot**2 * np.clip(signal, 0, 1) + sensor.read**2)
    signal = signal + sd * rng.standard_normal(signal.shape, dtype=np.float32)
    if sensor.shot > 0:  # noise passes through demosaicing, too
        signal = cv2.GaussianBlur(signal, (0, 0), 0.45)
    signal = np.clip(signal, 0.0, 1.0)
    coded = np.where(signal <= 0.0031308, 12.92 * signal, 1.055 * signal ** (1 / 2.4) - 0.055)
    coded = coded + 0.08 * coded * (1 - coded) * (2 * coded - 1)  # a mild S
    if sensor.sharpen > 0:
        coded = coded + sensor.sharpen * (coded - cv2.GaussianBlur(coded, (0, 0), 1.2))
    out: NDArray[np.uint8] = np.clip(np.rint(coded * 255), 0, 255).astype(np.uint8)
    return out


def jpeg(rgb: NDArray[np.uint8], quality: int, focal_35mm: int | None, when: str) -> bytes:
    """JPEG file with the EXIF data of an invented phone."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0131] = "Papermoth", "Papermoth 12", "Papermoth camera 3.1"
    exif[0x0112], exif[0x0132] = 1, when
    ifd = exif.get_ifd(0x8769)
    ifd[0x9003] = when
    if focal_35mm is not None:
        ifd[0xA405] = focal_35mm
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality, subsampling=2, optimize=True, exif=exif)
    return out.getvalue()


def write_photo(
    path: Path, rgb: NDArray[np.uint8], sensor: Sensor, focal_35mm: int | None, when: str, limit: int | None
) -> int:
    """Write the JPEG in one move; lower the quality down to 80 if it would exceed `limit` bytes."""
    quality = sensor.quality
    data = jpeg(rgb, quality, focal_35mm, when)
    while limit is not None and len(data) > limit and quality > 80:
        quality -= 1
        data = jpeg(rgb, quality, focal_35mm, when)
    part = path.with_suffix(".part")
    part.write_bytes(data)
    part.replace(path)
    return quality
