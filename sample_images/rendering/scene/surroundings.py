"""Everything round the dummy: table, things behind it, lights, and what all of it is made of.

Returns plain dictionaries for `mitsuba.load_dict`; all in sheet coordinates (mm).
"""

import colorsys
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_images.rendering.cards.meshes import Mesh, box, join, prism, quads, write_ply

Array = NDArray[np.float64]
Colour = tuple[float, float, float]
TABLES = ("wood", "grey", "light", "mat", "dark")


def smooth_noise(shape: tuple[int, int], coarse: tuple[int, int], rng: np.random.Generator) -> Array:
    """Smooth random field (rows, cols) about 0 with sd about 1, grain as coarse as shape / coarse."""
    small = rng.standard_normal(coarse).astype(np.float32)
    big = cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC).astype(float)
    out: Array = big / big.std()
    return out


def table_texture(kind: str, rng: np.random.Generator) -> NDArray[np.float32]:
    """Reflectance (1024, 1024, 3) of a table top; wraps every 600 mm."""
    n = 1024
    if kind == "wood":
        rings = smooth_noise((n, n), (160, 5), rng) + 0.6 * smooth_noise((n, n), (420, 24), rng)
        fine = smooth_noise((n, n), (1000, 60), rng)
        tone = np.clip(0.55 + 0.16 * np.sin(3.2 * rings) + 0.05 * fine, 0.1, 1.0)
        base = np.array([0.42, 0.26, 0.14]) * rng.uniform(0.7, 1.5)
        return (tone[..., None] * base).astype(np.float32)
    if kind == "mat":
        base = np.array([[0.05, 0.16, 0.14], [0.10, 0.12, 0.20], [0.20, 0.20, 0.21]])[rng.integers(3)]
        tex = np.ones((n, n, 3)) * base
        step = n // 30
        for i in range(0, n, step):
            strong = (i // step) % 5 == 0
            tex[i : i + (2 if strong else 1)] = base + (0.22 if strong else 0.12)
            tex[:, i : i + (2 if strong else 1)] = base + (0.22 if strong else 0.12)
        mat = tex * (1 + 0.03 * smooth_noise((n, n), (300, 300), rng))[..., None]
        return np.asarray(mat, np.float32)
    level = {"grey": 0.30, "light": 0.68, "dark": 0.08}[kind]
    speck = 1 + 0.04 * smooth_noise((n, n), (400, 400), rng) + 0.03 * smooth_noise((n, n), (9, 9), rng)
    tint = 1 + 0.03 * rng.standard_normal(3)
    return np.asarray(level * speck[..., None] * tint, np.float32)


def paper_texture(rng: np.random.Generator) -> NDArray[np.float32]:
    """Fibre cloudiness of card (512, 512), about 1; wraps every 100 mm."""
    n = 512
    cloud = 0.008 * smooth_noise((n, n), (60, 60), rng) + 0.010 * smooth_noise((n, n), (400, 400), rng)
    return (1 + cloud).astype(np.float32)


def matt(reflectance: Colour | dict[str, Any]) -> dict[str, Any]:
    """Return a matt two-sided surface."""
    if not isinstance(reflectance, dict):
        reflectance = {"type": "rgb", "value": [float(c) for c in reflectance]}
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": reflectance}}


def textured(picture: NDArray[np.float32], *, clamp: bool = False) -> dict[str, Any]:
    """Return a bitmap of linear reflectances, first row at the top (v = 1)."""
    import mitsuba as mi

    if picture.ndim == 2:
        picture = picture[..., None]
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(
            np.ascontiguousarray(picture[::-1], np.float32)
        ),  # a PLY file's v = 0 is the first row
        "raw": picture.shape[2] == 1,
        "filter_type": "bilinear",
        "wrap_mode": "clamp" if clamp else "repeat",
    }


class SceneBook:
    """Collects shapes and lights, writing meshes to a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.entries: dict[str, Any] = {"type": "scene"}

    def add(self, mesh: Mesh, bsdf: dict[str, Any]) -> None:
        """Add a mesh with its surface."""
        name = f"shape{len(self.entries)}"
        path = self.folder / f"{name}.ply"
        write_ply(path, mesh)
        self.entries[name] = {"type": "ply", "filename": str(path), "face_normals": True, "bsdf": bsdf}

    def light(self, entry: dict[str, Any]) -> None:
        """Add an emitter or a shape that emits."""
        self.entries[f"light{len(self.entries)}"] = entry


def panel_light(centre: Array, at: Array, size: tuple[float, float], radiance: Colour) -> dict[str, Any]:
    """Return a bright rectangle at `centre` facing `at`, like a window."""
    import mitsuba as mi

    to_world = mi.ScalarTransform4f().look_at(
        origin=[float(c) for c in centre], target=[float(c) for c in at], up=[0, 1, 0.01]
    ) @ mi.ScalarTransform4f().scale([size[0] / 2, size[1] / 2, 1])
    return {
        "type": "rectangle",
        "to_world": to_world,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(c) for c in radiance]}},
        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}},
    }


def lamp(centre: Array, radius: float, radiance: Colour) -> dict[str, Any]:
    """Return a small bright sphere, like the bulb of a desk lamp."""
    return {
        "type": "sphere",
        "center": [float(c) for c in centre],
        "radius": radius,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(c) for c in radiance]}},
    }


def lights(book: SceneBook, kind: str, rng: np.random.Generator) -> None:
    """Window, desk lamp, both, or a dim room."""
    side = float(rng.choice([-1.0, 1.0]))
    middle = np.array([0.0, -40.0, 0.0])
    day = np.array([0.95, 1.0, 1.07])
    warm = np.array([1.12, 1.0, 0.80])
    fill = {"soft": 0.30, "hard": 0.22, "mixed": 0.20, "dim": 0.35}[kind]
    if kind != "hard":
        at = np.array([side * rng.uniform(700, 1300), rng.uniform(500, 1000), rng.uniform(300, 900)])
        book.light(panel_light(at, middle, (900.0, 1100.0), tuple(2.0 * day)))
    if kind in ("hard", "mixed"):
        side2 = -side if kind == "mixed" else side
        at = np.array([side2 * rng.uniform(200, 450), rng.uniform(280, 480), rng.uniform(60, 420)])
        radius = rng.uniform(10, 20)
        power = 2.2 if kind == "hard" else 1.0
        level = power * float(np.dot(at, at)) / (math.pi * radius**2)
        book.light(lamp(at, radius, tuple(level * warm)))
    book.light({"type": "constant", "radiance": {"type": "rgb", "value": [float(fill * c) for c in day]}})


def revolved(profile: Array, centre: Array, sides: int = 40) -> Mesh:
    """Solid of revolution about a vertical axis: profile (N, 2) of radius and height, mm."""
    a = np.linspace(0, 2 * math.pi, sides + 1)
    ring = np.stack([np.cos(a), np.zeros_like(a), np.sin(a)], axis=1)
    pts = profile[:, None, :1] * ring[None] + profile[:, None, 1:] * np.array([0.0, 1.0, 0.0]) + centre
    q = np.stack([pts[:-1, :-1], pts[:-1, 1:], pts[1:, 1:], pts[1:, :-1]], axis=2).reshape(-1, 4, 3)
    return quads(q, np.zeros((len(q), 4, 2)))


def turned(mesh: Mesh, angle_deg: float, at: Array) -> Mesh:
    """Return the mesh turned about the vertical through its origin, and set down at `at`."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return mesh.moved(np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]), at)


def bright_colour(rng: np.random.Generator) -> Colour:
    """Return a random paint colour."""
    r, g, b = colorsys.hsv_to_rgb(rng.uniform(), rng.uniform(0.4, 0.95), rng.uniform(0.15, 0.75))
    return r, g, b


def mug(rng: np.random.Generator) -> Mesh:
    """Return a mug: walls 4 mm thick, and a handle."""
    r, h = rng.uniform(36, 44), rng.uniform(85, 105)
    wall = np.array([[0, 0.5], [r - 3, 0.5], [r, 5], [r, h], [r - 4, h], [r - 4, 8], [0, 7]], float)
    body = revolved(wall, np.zeros(3))
    a, round_ = np.linspace(-1.4, 1.4, 24)[:, None], np.linspace(0, 2 * math.pi, 13)[None]
    reach = 1 + 0.13 * np.cos(round_)
    handle = np.stack(
        [
            r - 3 + 26 * np.cos(a) * reach,
            h / 2 + 30 * np.sin(a) * reach,
            np.broadcast_to(5.0 * np.sin(round_), (24, 13)),
        ],
        axis=-1,
    )
    q = np.stack([handle[:-1, :-1], handle[:-1, 1:], handle[1:, 1:], handle[1:, :-1]], axis=2)
    q = q.reshape(-1, 4, 3)
    return join([body, quads(q, np.zeros((len(q), 4, 2)))])


def pencil(length: float, radius: float) -> Mesh:
    """Return a hexagonal pencil lying along x on the table."""
    a = np.arange(6) * math.pi / 3 + math.pi / 6
    bar = prism(radius * np.column_stack([np.cos(a), np.sin(a)]), -length / 2, length / 2)
    swap = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]])
    return bar.moved(swap, np.array([0, radius * math.cos(math.pi / 6), 0]))


def clutter(
    book: SceneBook, place: Any, half_width: float, back: float, front: float, rng: np.random.Generator
) -> None:
    """Boxes, a mug, pencils and coloured paper behind and beside the dummy.

    Parameters
    ----------
    place : function that carries a mesh from the table frame (y = 0 the table top) to the scene.
    half_width : |x| of what must stay visible. back : z behind which things may stand anywhere.
    front : z in front of which nothing lies.
    """
    for _ in range(rng.integers(5, 9)):
        w, h, d = rng.uniform(30, 160), rng.uniform(20, 190), rng.uniform(20, 90)
        at = np.array([rng.uniform(-360, 360), 0.05, back - d - rng.uniform(10, 260)])
        shape = box(np.array([-w / 2, 0, -d / 2]), np.array([w / 2, h, d / 2]))
        book.add(place(turned(shape, rng.uniform(-35, 35), at)), matt(bright_colour(rng)))
    at = np.array([rng.uniform(-240, 240), 0.05, back - rng.uniform(70, 160)])
    book.add(place(turned(mug(rng), rng.uniform(0, 360), at)), matt(bright_colour(rng)))
    for i in range(rng.integers(4, 8)):
        side = float(rng.choice([-1, 1]))
        sheet = i % 2 == 0
        x = side * (half_width + rng.uniform(95, 240))
        at = np.array([x, 0.03 + 0.12 * i, rng.uniform(min(back, front - 90.0), front - 90.0)])
        if sheet:
            w, d = rng.uniform(60, 130), rng.uniform(50, 110)
            shape = box(np.array([-w / 2, 0, -d / 2]), np.array([w / 2, 0.1, d / 2]))
        else:
            shape = pencil(rng.uniform(90, 170), rng.uniform(3.2, 4.2))
        book.add(place(turned(shape, rng.uniform(0, 180), at)), matt(bright_colour(rng)))


def in_front(book: SceneBook, place: Any, half_width: float, rng: np.random.Generator) -> None:
    """Add a box that hides one leg of the sheet, up to some height, and a card leaning over its top corner.

    Parameters
    ----------
    place : function that carries a mesh from the table frame (y = 0 the table top) to the scene.
    half_width : of the sheet.
    """
    side = float(rng.choice([-1, 1]))
    high, wide = rng.uniform(60, 120), rng.uniform(40, 60)
    x = side * (half_width - wide / 2 + 4.0)
    leg = box(np.array([x - wide / 2, 0.05, 6.0]), np.array([x + wide / 2, high, 30.0]))
    book.add(place(leg), matt(bright_colour(rng)))
    x = -side * (half_width - 25.0)
    card = box(np.array([x - 32.0, 160.0, 3.0]), np.array([x + 32.0, 225.0, 3.4]))
    book.add(place(card), matt(bright_colour(rng)))


def table_and_wall(book: SceneBook, place: Any, table: str, wall: Colour, rng: np.random.Generator) -> None:
    """Add the table top (y = 0) and the wall at its far end."""
    x, z0, z1 = 1600.0, -1000.0, 1500.0
    q = np.array([[[-x, 0, z1], [x, 0, z1], [x, 0, z0], [-x, 0, z0]]])
    turn = rng.uniform(0, math.pi)
    c, s = math.cos(turn), math.sin(turn)
    flat = q[0][:, [0, 2]] @ np.array([[c, -s], [s, c]]) / 600.0
    book.add(place(quads(q, flat[None])), matt(textured(table_texture(table, rng))))
    w = np.array([[[-2500, -700, z0], [2500, -700, z0], [2500, 1800, z0], [-2500, 1800, z0]]], float)
    book.add(place(quads(w, np.zeros((1, 4, 2)))), matt(wall))
