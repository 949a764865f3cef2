"""The scene of a shot for `other_renderer.py`: the same dummy, other surfaces and other light."""

from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from capture.sheet.sheet_pdf import write_sheet
from sample_images.rendering.cards.card_dummy import Part, merged
from sample_images.rendering.cards.meshes import Mesh, box, quads
from sample_images.rendering.cards.own_linkage import SIDES
from sample_images.rendering.scene import surroundings
from sample_images.rendering.scene.lit_scene import printed, sheet_meshes
from sample_images.rendering.scene.staging import Shot, Stage

Array = NDArray[np.float64]

UNIT = 0.01  # Blender units per mm


def material(name: str, colour: Any, rough: float, shine: float, clamp: bool = False) -> Any:
    """Return a slightly shiny surface of one colour (3,) or of a picture of reflectances (H, W, 3)."""
    out = bpy.data.materials.new(name)
    out.use_nodes = True
    nodes, links = out.node_tree.nodes, out.node_tree.links
    surface = nodes["Principled BSDF"]
    surface.inputs["Roughness"].default_value = rough
    surface.inputs["Specular IOR Level"].default_value = shine
    if not isinstance(colour, np.ndarray):
        surface.inputs["Base Color"].default_value = (*map(float, colour), 1)
        return out
    high, wide = colour.shape[:2]
    image = bpy.data.images.new(name, wide, high, float_buffer=True)
    image.colorspace_settings.name = "Non-Color"
    pixels = np.ones((high, wide, 4), np.float32)
    pixels[..., :3] = colour[::-1]
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    texture = nodes.new("ShaderNodeTexImage")
    texture.image, texture.extension = image, "EXTEND" if clamp else "REPEAT"
    links.new(texture.outputs["Color"], surface.inputs["Base Color"])
    return out


def add(mesh: Mesh, stuff: Any) -> None:
    """Put a mesh into the scene."""
    data = bpy.data.meshes.new("mesh")
    triangles = np.asarray(mesh.tri, int)
    data.from_pydata((mesh.xyz * UNIT).tolist(), [], triangles.tolist())
    data.uv_layers.new().data.foreach_set("uv", mesh.uv[triangles.ravel()].astype(np.float32).ravel())
    data.materials.append(stuff)
    data.validate()
    bpy.context.collection.objects.link(bpy.data.objects.new("mesh", data))


def slabs(shot: Shot, at: Stage) -> list[Part]:
    """Panels as separate boxes from joint to joint; the pages' upper faces half a card below the joints."""
    build = shot.build
    joints = {k: at.rot[:2, :2].T @ (v - at.shift[:2]) for k, v in at.joints.items()}
    parts: list[Part] = []

    def slab(a: Array, b: Array, thick: float, near: float, depth: float, stuff: str) -> None:
        along = (b - a) / np.hypot(*(b - a))
        off = np.array([-along[1], along[0]]) * thick / 2
        rim = [a + off, b + off, b - off, a - off]
        front, back = ([np.array([*p, z]) for p in rim] for z in (near, -depth))
        sides = np.array([[front[i], front[i - 3], back[i - 3], back[i]] for i in range(4)])
        ends = np.array([front, back])

        def uv(faces: Array) -> Array:
            out: Array = np.stack([(faces[..., :2] - a) @ along, faces[..., 2]], axis=-1) / 100
            return out

        parts.append(Part(quads(sides, uv(sides)), stuff))
        parts.append(Part(quads(ends, uv(ends)), f"{stuff} cut"))

    for side in SIDES:
        for panel, a, b in (
            (f"fold {side}", f"inner foot {side}", "ridge"),
            (f"leg {side}", f"outer foot {side}", f"leg top {side}"),
            (f"plane {side}", "ridge", f"plane edge {side}"),
        ):
            if a in joints and b in joints:
                stuff = "plane" if panel.startswith("plane") else "card"
                near = at.near.get(panel, 0.0)
                slab(joints[a], joints[b], build.card_mm, near, build.strip_depth_mm, stuff)
        a, b = joints["spine"], joints[f"fore edge {side}"]
        up = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        down = -np.sign(up[1]) * up * (build.card_mm + build.base_mm) / 2
        near = at.near.get(f"page {side}", 0.0)
        slab(a + down, b + down, build.base_mm, near, build.base_depth_mm, "base")
    return parts


def furnish(shot: Shot, at: Stage, parts: list[Part], rng: np.random.Generator) -> None:
    """Put dummy, sheet, table, wall, what stands behind and the lights into the scene."""
    fibres = surroundings.paper_texture(rng)[..., None]
    fixed = {"pen": (0.02, 0.02, 0.04), "prop": (0.35, 0.27, 0.18), "book": (0.16, 0.10, 0.09)}
    for stuff, mesh in merged(parts).items():
        kind = stuff.removesuffix(" cut")
        if kind in fixed:
            surface = material(stuff, fixed[kind], 0.6, 0.25)
        else:
            colour = np.array({"card": shot.card, "plane": shot.plane, "base": shot.base}[kind])
            if stuff.endswith(" cut"):
                core = shot.core if shot.core is not None and kind != "base" else 0.93 * colour
                surface = material(stuff, tuple(core), 0.8, 0.1)
            else:
                rough, shine = rng.uniform(0.45, 0.8), rng.uniform(0.1, 0.4)
                surface = material(stuff, (fibres * colour).astype(np.float32), rough, shine)
        add(mesh.moved(at.rot, at.shift), surface)

    def sheet_pdf(path: Path) -> None:
        write_sheet(path, shot.paper, dark_field=shot.use != "arch", sill=False)

    front, back = sheet_meshes(shot, at)
    ink = np.repeat(printed(sheet_pdf)[..., None], 3, axis=2)
    add(front, material("sheet", ink, 0.7, 0.15, clamp=True))
    add(back, material("back of the sheet", (0.8, 0.8, 0.8), 0.7, 0.15))

    def place(mesh: Mesh) -> Mesh:
        return mesh.moved(at.table_rot, at.table_shift)

    top = np.array([[[-900.0, 0, 500], [900, 0, 500], [900, 0, -700], [-900, 0, -700]]])
    table = material("table", surroundings.table_texture(shot.table, rng), rng.uniform(0.3, 0.7), 0.4)
    add(place(quads(top, np.array([[[0.0, 0], [3, 0], [3, 2], [0, 2]]]))), table)
    far = np.array(
        [[[-3000.0, -1500, -1100], [3000, -1500, -1100], [3000, 2500, -1100], [-3000, 2500, -1100]]]
    )
    add(place(quads(far, np.zeros((1, 4, 2)))), material("wall", shot.wall, 0.9, 0.1))
    depth = shot.build.base_depth_mm
    if shot.behind == "dark":
        card = box(np.array([-230.0, 0.0, -depth - 33.0]), np.array([230.0, 330.0, -depth - 30.0]))
        add(place(card), material("dark card", (0.03, 0.03, 0.035), 0.9, 0.1))
    for k in range(10 if shot.behind == "clutter" else 0):
        x, high, wide = rng.uniform(-260, 260), rng.uniform(20, 180), rng.uniform(8, 60)
        z = rng.uniform(-500, -depth - 40)
        block = box(np.array([x, 0.0, z - wide]), np.array([x + wide, high, z]))
        add(
            place(block), material(f"block {k}", tuple(rng.uniform(0.05, 0.8, 3)), rng.uniform(0.2, 0.8), 0.5)
        )
    lights(shot.light, rng)


def lights(kind: str, rng: np.random.Generator) -> None:
    """Light the scene: a bluish sky, a window, a lamp."""
    world = bpy.context.scene.world = bpy.data.worlds.new("sky")
    world.use_nodes = True
    sky = world.node_tree.nodes["Background"]
    sky.inputs[0].default_value = (0.9, 0.97, 1.1, 1)
    sky.inputs[1].default_value = {"soft": 0.5, "hard": 0.15, "mixed": 0.25, "dim": 0.4}[kind]
    side = float(rng.choice([-1.0, 1.0]))

    def area(at_mm: Array, size: tuple[float, float], watts: float, colour: tuple[float, ...]) -> None:
        lamp = bpy.data.lights.new("lamp", "AREA")
        lamp.shape, (lamp.size, lamp.size_y), lamp.energy, lamp.color = "RECTANGLE", size, watts, colour
        item = bpy.data.objects.new("lamp", lamp)
        item.location = tuple(at_mm * UNIT)
        item.rotation_euler = (Vector((0, -0.4, 0)) - item.location).to_track_quat("-Z", "Y").to_euler()
        bpy.context.collection.objects.link(item)

    if kind != "hard":
        at = np.array([side * rng.uniform(500, 1200), rng.uniform(500, 1100), rng.uniform(200, 900)])
        area(at, (8.0, 11.0), 2500.0, (0.95, 1.0, 1.05))
    if kind in ("hard", "mixed"):
        other, r = (-side if kind == "mixed" else side), rng.uniform(0.15, 0.5)
        at = np.array([other * rng.uniform(200, 600), rng.uniform(300, 700), rng.uniform(0, 500)])
        area(at, (r, r), 500.0 if kind == "hard" else 250.0, (1.1, 1.0, 0.8))
