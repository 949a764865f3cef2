"""Scenes for the path tracer, and how its paths are shared out over the picture."""

import tempfile
from collections.abc import Callable, Collection, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.camera.view import View
from capture.sheet.marker_sheet import arch_outline
from capture.sheet.sheet_pdf import write_board, write_sheet
from sample_images.rendering.cards.card_dummy import merged
from sample_images.rendering.cards.lying_shut import Above
from sample_images.rendering.cards.meshes import Mesh, box, paper
from sample_images.rendering.chance.random_series import artwork
from sample_images.rendering.scene import surroundings
from sample_images.rendering.scene.hung import strip_of
from sample_images.rendering.scene.laid_paper import PAPER_MM, Piece
from sample_images.rendering.scene.phone_camera import Picture, Rectangle, Tile, around
from sample_images.rendering.scene.staging import Shot, Stage, fold_height

SHEET_DPI = 600
RIM_SPP = 4
"""Paths per pixel for the sheet round the dummy."""

COIN = np.array([[0.0, 0.0], [11.4, 0.0], [11.6, 0.3], [11.6, 2.0], [11.4, 2.2], [0.0, 2.1]])
"""Profile of a coin: radius and height, mm."""

SHRINK = 4
"""What is not measured is traced smaller by this factor."""


@lru_cache(maxsize=4)
def printed_page(paper: str, dark_field: bool, sill: bool, page: int = 0) -> NDArray[np.float32]:
    """Reflectance (rows, cols) of a page of the marker sheet's PDF; remembered, for series of photos."""
    return printed(partial(write_sheet, paper=paper, dark_field=dark_field, sill=sill), page)


def printed(write: Callable[[Path], None], page: int = 0) -> NDArray[np.float32]:
    """Reflectance (rows, cols) of a page of the project's own PDF, rasterised."""
    import pypdfium2

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        write(path)
        with pypdfium2.PdfDocument(path) as pdf:
            grey = pdf[page].render(scale=SHEET_DPI / 72, grayscale=True).to_numpy()
    ink = grey.reshape(grey.shape[:2]).astype(np.float32) / 255
    return np.asarray(0.035 + 0.80 * ink**2.2, np.float32)


def sheet_meshes(shot: Shot, at: Stage) -> tuple[Mesh, Mesh]:
    """Front and rest of the paper, true mm: the print is scaled and shifted on it, the paper is not."""
    half = np.array(at.sheet.paper_mm) / 2
    scale, off = np.array(shot.print_scale), np.array(shot.print_shift)
    if shot.use == "arch":
        outline = np.array(arch_outline(at.sheet), float)
        if shot.sill:  # what is below the fold lies on the page
            outline[:, 1] = np.maximum(outline[:, 1], fold_height(shot, at.sheet) / scale[1])
        on_rim = np.isclose(np.abs(outline), half)
        outline = np.where(on_rim, outline + off, outline * scale)
    else:
        outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half + off

    def uv(p: NDArray[np.float64]) -> NDArray[np.float64]:
        share: NDArray[np.float64] = np.clip(p / scale / (2 * half) + 0.5, 0.0, 1.0)
        return share

    def bend(p: NDArray[np.float64]) -> NDArray[np.float64]:
        z: NDArray[np.float64] = -shot.curl_mm * (1 - (p[:, 0] / half[0]) ** 2) + shot.curl_mm / 2
        return z

    return paper(outline, PAPER_MM, uv, bend)


def laid_meshes(p: Piece, paper_mm: tuple[float, float], scale: tuple[float, float]) -> tuple[Mesh, Mesh]:
    """Front and rest of a piece of printed paper that lies on the page, in the sheet's frame."""
    outline = np.array(
        [[p.span[0], -p.depth_mm], [p.span[1], -p.depth_mm], [p.span[1], 0.0], [p.span[0], 0.0]]
    )

    def uv(at: NDArray[np.float64]) -> NDArray[np.float64]:
        share: NDArray[np.float64] = np.clip(p.on_paper(at) / scale / paper_mm + 0.5, 0.0, 1.0)
        return share

    rot, shift = p.placed()
    front, back = paper(outline, PAPER_MM, uv, p.bend, step=3.0)
    return front.moved(rot, shift), back.moved(rot, shift)


def build_scene(
    shot: Shot,
    at: Stage,
    folder: Path,
    *,
    without: Collection[str] = (),
    more: Sequence[tuple[Mesh, tuple[float, float, float]]] = (),
) -> Any:
    """Mitsuba scene of a shot, in sheet coordinates.

    Parameters
    ----------
    without : "dummy" or "sheet" left away. more : further things, in the table's frame, with their colours.
    """
    import mitsuba as mi

    rng = np.random.default_rng([shot.seed, 2])
    book = surroundings.SceneBook(folder)

    def place(mesh: Mesh) -> Mesh:  # table frame: dummy frame with y = 0 on the table, z = 0 the near end
        return mesh.moved(at.table_rot, at.table_shift)

    fibres = surroundings.paper_texture(rng)
    print_on = artwork(np.random.default_rng([shot.seed, 24])) if shot.artwork else None
    if "dummy" not in without:
        for stuff, mesh in merged(at.parts).items():
            book.add(mesh.moved(at.rot, at.shift), _stuff(stuff, shot, fibres, print_on))
    ink = partial(printed_page, shot.paper, shot.use != "arch", shot.sill_print)
    if "sheet" not in without:
        _add_sheet(book, shot, at, ink)
    for mesh, colour in more:
        book.add(place(mesh), surroundings.matt(colour))
    if shot.apron:
        strip = strip_of(shot.apron, shot.opening_deg, shot.build, shot.print_scale, at.sheet.paper_mm)
        front, back = (m.moved(at.rot, at.shift) for m in strip)
        book.add(front, surroundings.matt(surroundings.textured(ink(1), clamp=True)))
        book.add(back, surroundings.matt((0.8, 0.8, 0.8)))
    surroundings.table_and_wall(book, place, shot.table, shot.wall, rng)
    depth = shot.build.behind_mm
    if shot.behind == "dark":
        card = box(np.array([-230.0, 0.0, -depth - 33.0]), np.array([230.0, 330.0, -depth - 30.0]))
        book.add(place(card), surroundings.matt((0.03, 0.03, 0.035)))
    elif shot.behind == "clutter":
        surroundings.clutter(book, place, at.sheet.paper_mm[0] / 2, -depth - 20, 0.0, rng)
    if shot.hidden:
        surroundings.in_front(book, place, at.sheet.paper_mm[0] / 2, rng)
    surroundings.lights(book, shot.light, rng)
    return mi.load_dict(book.entries)


def _add_sheet(
    book: surroundings.SceneBook, shot: Shot, at: Stage, ink: Callable[[int], NDArray[np.float32]]
) -> None:
    """Add the sheet, what of it is folded forward, the doorstep, and coins on them."""
    laid = [(0, laid_meshes(p, at.sheet.paper_mm, shot.print_scale)) for p in at.pieces]
    laid += [(1, laid_meshes(p, at.sheet.paper_mm, shot.print_scale)) for p in at.steps]
    for page, (front, back) in ((0, sheet_meshes(shot, at)), *laid):
        book.add(front, surroundings.matt(surroundings.textured(ink(page), clamp=True)))
        book.add(back, surroundings.matt((0.8, 0.8, 0.8)))
    for p in (*at.pieces, *at.steps):
        if p.coin is not None:
            turn = np.column_stack([p.along, p.up, np.cross(p.along, p.up)])
            disk = surroundings.revolved(COIN, np.zeros(3))
            book.add(disk.moved(turn, p.coin + 0.02 * p.up), surroundings.matt((0.46, 0.38, 0.24)))


def above_scene(photo: Above, folder: Path) -> Any:
    """Mitsuba scene of a photo from above."""
    import mitsuba as mi

    rng = np.random.default_rng([photo.seed, 2])
    book = surroundings.SceneBook(folder)
    half = np.array(photo.sheet.paper_mm) / 2
    corners = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * half
    write = partial(write_board if photo.board else partial(write_sheet, sill=False), paper=photo.paper)

    def uv(p: NDArray[np.float64]) -> NDArray[np.float64]:
        share: NDArray[np.float64] = np.clip(p / photo.print_scale / (2 * half) + 0.5, 0.0, 1.0)
        return share

    front, back = paper(corners, PAPER_MM, uv, lambda p: np.zeros(len(p)))
    book.add(front, surroundings.matt(surroundings.textured(printed(write), clamp=True)))
    book.add(back, surroundings.matt((0.8, 0.8, 0.8)))
    fibres = surroundings.paper_texture(rng)[..., None]
    for stuff, mesh in merged(list(photo.parts)).items():
        colour = {"plane": (0.74, 0.70, 0.60)}.get(stuff, (0.80, 0.80, 0.78))
        book.add(mesh, surroundings.matt(surroundings.textured(fibres * np.asarray(colour, np.float32))))
    # the table's own frame has y up and its top at y = 0
    lie = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    surroundings.table_and_wall(
        book, lambda m: m.moved(lie, np.array([0, 0, -PAPER_MM - 0.05])), photo.table, (0.5, 0.5, 0.5), rng
    )
    surroundings.lights(book, photo.light, rng)
    return mi.load_dict(book.entries)


def _stuff(
    stuff: str, shot: Shot, fibres: NDArray[np.float32], print_on: NDArray[np.float32] | None
) -> dict[str, Any]:
    kind = stuff.removesuffix(" cut")
    fixed = {
        "pen": (0.02, 0.02, 0.04),
        "ink": (0.022, 0.022, 0.03),
        "thin ink": (0.09, 0.09, 0.11),
        "prop": (0.35, 0.27, 0.18),
        "book": (0.16, 0.10, 0.09),
    }
    if kind in fixed:
        return surroundings.matt(fixed[kind])
    colour = {"card": shot.card, "plane": shot.plane, "base": shot.base}[kind]
    if stuff.endswith(" cut"):
        edge = (
            shot.core
            if shot.core is not None and kind != "base"
            else (0.93 * colour[0], 0.93 * colour[1], 0.93 * colour[2])
        )
        return surroundings.matt(edge)
    if print_on is not None and kind != "base":
        return surroundings.matt(surroundings.textured(print_on * np.asarray(colour, np.float32)))
    return surroundings.matt(surroundings.textured(fibres[..., None] * np.asarray(colour, np.float32)))


def box_in(view: View, size: tuple[int, int], points: NDArray[np.float64], rim: int) -> Rectangle:
    """Rectangle of pixels round points (N, 3), wider by `rim`, cut to the picture and to whole tiles."""
    px = view.project(points)
    low = np.clip(px.min(axis=0) - rim, 0, size).astype(int) // SHRINK * SHRINK
    top = np.clip(px.max(axis=0) + rim + SHRINK, 0, size).astype(int) // SHRINK * SHRINK
    return int(low[0]), int(low[1]), int(top[0]), int(top[1])


def tiles_of(shot: Shot, at: Stage, spp: int) -> list[Tile]:
    """Share out the paths: most for the dummy, fewer for the sheet, fewest for what is not measured."""
    view, (wide, high) = at.camera.view(), at.camera.size
    w, h = np.array(at.sheet.paper_mm) / 2

    def box_of(points: Sequence[Sequence[float]], rim: int) -> Rectangle:
        return box_in(view, (wide, high), np.array(points), rim)

    near = [[*xy, at.standoff] for xy in at.joints.values()]
    far = [[*xy, at.standoff - shot.build.behind_mm] for xy in at.joints.values()]
    front = [[*xy, at.standoff + shot.build.setback_mm] for xy in at.joints.values()]
    for p in (*at.pieces, *at.steps):
        front += [p.origin + u * p.along + v * p.forward for u in p.span for v in (0.0, p.depth_mm)]
    x0, y0, x1, y1 = box_of(near + far + front, 50)
    part = box_of([[x, y, 0.0] for x in (-w, w) for y in (-h, h)] + near, 25)
    part = (min(part[0], x0), min(part[1], y0), max(part[2], x1), max(part[3], y1))
    left, _, right, top = at.sheet.window
    rim = view.project(np.array([[left, top, 0.0], [right, top, 0.0], [left, -h, 0.0], [right, -h, 0.0]]))
    hole = np.array([rim[[0, 2], 0].max() + 60, rim[:2, 1].max() + 60, rim[[1, 3], 0].min() - 60, y0])
    a, b, c, _ = (int(v) // SHRINK * SHRINK for v in hole)
    tiles = [Tile(t, 9, SHRINK) for t in around((0, 0, wide, high), part)]
    if shot.use == "arch" and part[0] < a < c < part[2] and part[1] < b < y0:  # the window is empty up there
        beside = around((part[0], part[1], part[2], y0), (a, b, c, y0))
        tiles += [Tile((a, b, c, y0), 9, SHRINK), *(Tile(t, RIM_SPP) for t in beside[:3])]
        part = (part[0], y0, part[2], part[3])
    tiles += [Tile(t, RIM_SPP) for t in around(part, (x0, y0, x1, y1))]
    return [*tiles, Tile((x0, y0, x1, y1), spp)]


def tiles_above(photo: Above, spp: int) -> list[Tile]:
    """Share out the paths of a photo from above: most for what lies on the paper, fewer for the paper."""
    view, (wide, high) = photo.camera().view(), photo.size

    w, h = np.array(photo.sheet.paper_mm) / 2
    part = box_in(view, photo.size, np.array([[x, y, 0.0] for x in (-w, w) for y in (-h, h)]), 8)
    tiles = [Tile(t, 9, SHRINK) for t in around((0, 0, wide, high), part)]
    if not photo.parts:
        return [*tiles, Tile(part, RIM_SPP)]
    core = box_in(view, photo.size, np.concatenate([p.mesh.xyz for p in photo.parts]), 40)
    return [*tiles, *(Tile(t, RIM_SPP) for t in around(part, core)), Tile(core, spp)]


def white_level(linear: Picture, shot: Shot, at: Stage) -> float:
    """Radiance of the sheet's white paper, from its margins as seen in the picture."""
    left, bottom, right, top = at.sheet.ring
    half = np.array(at.sheet.paper_mm) / 2
    xs, ys = np.linspace(left, right, 60), np.linspace(-30.0, top, 30)
    rim = [(x, (half[1] + top) / 2) for x in xs] + [
        (s * (half[0] + right) / 2, y) for y in ys for s in (-1, 1)
    ]
    px = np.rint(at.camera.view().project(np.array([[x, y, 0.0] for x, y in rim]))).astype(int)
    inside = (px >= 0).all(1) & (px[:, 0] < linear.shape[1]) & (px[:, 1] < linear.shape[0])
    if inside.sum() < 10:
        return float(np.percentile(linear.mean(axis=2), 90))
    seen = linear[px[inside, 1], px[inside, 0]].mean(axis=1)
    return float(np.percentile(seen, 80))
