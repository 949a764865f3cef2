"""Render the sample photographs with a path tracer, or random ones for trials.

    python sample_images/render.py all
    python sample_images/render.py NAME [--preview]
    python sample_images/render.py lot
    python sample_images/render.py --random CLASS --seed N -o DIR [--views 3 --pen --flush --px-per-mm 8,11]

Needs the `render` extra (Mitsuba 3) and an LLVM library, version 16 or newer.
"""

import argparse
import os
import re
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(1, str(Path(__file__).resolve().parents[1]))

import cv2  # noqa: E402
import numpy as np  # noqa: E402
import surroundings as around  # noqa: E402
from camera import Picture, Rectangle, develop, expose, write_photo  # noqa: E402
from catalogue import CLASSES, random_shot, spec_text  # noqa: E402
from dummy import merged  # noqa: E402
from meshes import Mesh, box, paper  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from orrin_mechanisms import MECHANISMS  # noqa: E402
from orrin_quay import SAMPLES  # noqa: E402
from PIL import Image  # noqa: E402
from quay_lot import FOLDER, lot, manifest  # noqa: E402
from series import Wish, artwork, feasible, granted, openings, views  # noqa: E402
from staging import Shot, Stage, stage, write_truth  # noqa: E402

from capture.sheet import arch_outline  # noqa: E402
from capture.sheet_pdf import write_sheet  # noqa: E402

HERE = Path(__file__).resolve().parent
LIMIT = 2_000_000
LOT_LIMIT = 400_000
PAPER_MM = 0.12
SHEET_DPI = 600
BY_HAND = {shot.name for shot in MECHANISMS}
"""Samples whose specs are written by hand."""

RIM_SPP = 4
"""Paths per pixel for the sheet above and beside the dummy."""


def find_llvm() -> Path | None:
    """Return the newest LLVM library (16 or newer) in the usual folders, None if there is none."""
    if "DRJIT_LIBLLVM_PATH" in os.environ:
        return Path(os.environ["DRJIT_LIBLLVM_PATH"])
    found = []
    for pattern in (
        "/usr/lib/*/libLLVM*.so*",
        "/usr/lib/llvm-*/lib/libLLVM*.so*",
        "/usr/lib64/libLLVM*.so*",
        "/opt/homebrew/opt/llvm/lib/libLLVM*.dylib",
    ):
        for path in Path("/").glob(pattern[1:]):
            number = re.search(r"(?:LLVM-|\.so\.|llvm-)(\d\d)", str(path))
            if number and int(number[1]) >= 16:
                found.append((int(number[1]), path))
    return max(found)[1] if found else None


def start_mitsuba() -> None:
    """Choose the path tracer's LLVM variant, or the scalar one (slow) where there is no LLVM library."""
    import mitsuba as mi

    library = find_llvm()
    if library is None:
        print(
            "render: no LLVM library of version 16 or newer found, so this takes long; install one (Debian:"
        )
        print("libllvm19) or name it in DRJIT_LIBLLVM_PATH")
        mi.set_variant("scalar_rgb")
        return
    os.environ["DRJIT_LIBLLVM_PATH"] = str(library)
    mi.set_variant("llvm_ad_rgb")


def sheet_picture(paper_size: str, dark_field: bool) -> NDArray[np.float32]:
    """Reflectance (rows, cols) of the printed sheet, rasterised from the project's own PDF."""
    import pypdfium2

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        write_sheet(path, paper_size, dark_field)
        with pypdfium2.PdfDocument(path) as pdf:
            grey = pdf[0].render(scale=SHEET_DPI / 72, grayscale=True).to_numpy()
    ink = grey.reshape(grey.shape[:2]).astype(np.float32) / 255
    return np.asarray(0.035 + 0.80 * ink**2.2, np.float32)


def sheet_meshes(shot: Shot, at: Stage) -> tuple[Mesh, Mesh]:
    """Front and rest of the paper, true mm: the print is scaled and shifted on it, the paper is not."""
    half = np.array(at.sheet.paper_mm) / 2
    scale, off = np.array(shot.print_scale), np.array(shot.print_shift)
    if shot.use == "arch":
        outline = np.array(arch_outline(at.sheet), float)
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


def build_scene(shot: Shot, at: Stage, folder: Path) -> Any:
    """Mitsuba scene of a shot, in sheet coordinates."""
    import mitsuba as mi

    rng = np.random.default_rng([shot.seed, 2])
    book = around.SceneBook(folder)

    def place(mesh: Mesh) -> Mesh:  # table frame: dummy frame with y = 0 on the table, z = 0 the near end
        return mesh.moved(at.rot, at.rot @ np.array([0, at.table_y, 0]) + at.shift)

    fibres = around.paper_texture(rng)
    print_on = artwork(np.random.default_rng([shot.seed, 24])) if shot.artwork else None
    for stuff, mesh in merged(at.parts).items():
        book.add(mesh.moved(at.rot, at.shift), _stuff(stuff, shot, fibres, print_on))
    front, back = sheet_meshes(shot, at)
    print_ = around.textured(sheet_picture(shot.paper, shot.use != "arch"), clamp=True)
    book.add(front, around.matt(print_))
    book.add(back, around.matt((0.8, 0.8, 0.8)))
    around.table_and_wall(book, place, shot.table, shot.wall, rng)
    depth = shot.build.base_depth_mm
    if shot.behind == "dark":
        card = box(np.array([-230.0, 0.0, -depth - 33.0]), np.array([230.0, 330.0, -depth - 30.0]))
        book.add(place(card), around.matt((0.03, 0.03, 0.035)))
    elif shot.behind == "clutter":
        around.clutter(book, place, at.sheet.paper_mm[0] / 2, -depth - 20, 0.0, rng)
    around.lights(book, shot.light, rng)
    return mi.load_dict(book.entries)


def _stuff(
    stuff: str, shot: Shot, fibres: NDArray[np.float32], print_on: NDArray[np.float32] | None
) -> dict[str, Any]:
    kind = stuff.removesuffix(" cut")
    fixed = {"pen": (0.02, 0.02, 0.04), "prop": (0.35, 0.27, 0.18)}
    if kind in fixed:
        return around.matt(fixed[kind])
    colour = {"card": shot.card, "plane": shot.plane, "base": shot.base}[kind]
    if stuff.endswith(" cut"):
        edge = (
            shot.core
            if shot.core is not None and kind != "base"
            else (0.93 * colour[0], 0.93 * colour[1], 0.93 * colour[2])
        )
        return around.matt(edge)
    if print_on is not None and kind != "base":
        return around.matt(around.textured(print_on * np.asarray(colour, np.float32)))
    return around.matt(around.textured(fibres[..., None] * np.asarray(colour, np.float32)))


def measured_part(shot: Shot, at: Stage) -> tuple[Rectangle, Rectangle | None]:
    """Rectangle of pixels (x0, y0, x1, y1) that holds the sheet and the dummy's near end.

    Returns
    -------
    part : the rectangle. hole : in arch use what is empty of it, above the dummy in the window.
    """
    view, size = at.camera.view(), np.array(at.camera.size)
    w, h = np.array(at.sheet.paper_mm) / 2
    corners = [[x, y, 0.0] for x in (-w, w) for y in (-h, h)]
    near = [[*xy, at.standoff] for xy in at.joints.values()]
    px = view.project(np.array(corners + near))
    low = np.clip(px.min(axis=0) - 25, 0, size).astype(int) // 4 * 4
    top = np.clip(px.max(axis=0) + 29, 0, size).astype(int) // 4 * 4
    part = (int(low[0]), int(low[1]), int(top[0]), int(top[1]))
    if shot.use != "arch":
        return part, None
    left, _, right, high = at.sheet.window
    rim = view.project(np.array([[left, high, 0.0], [right, high, 0.0], [left, -h, 0.0], [right, -h, 0.0]]))
    far = [[*xy, -shot.build.base_depth_mm] for xy in at.joints.values()]
    dummy_top = view.project(np.array(near + far))[:, 1].min() - 60
    x0, x1 = rim[[0, 2], 0].max() + 60, rim[[1, 3], 0].min() - 60
    y0, y1 = rim[:2, 1].max() + 60, dummy_top
    hole = tuple(int(c) // 4 * 4 for c in (x0, y0, x1, y1))
    inside = part[0] < hole[0] < hole[2] < part[2] and part[1] < hole[1] < hole[3] < part[3]
    return part, (hole[0], hole[1], hole[2], hole[3]) if inside else None


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


def take(
    shot: Shot,
    out: Path,
    *,
    preview: bool,
    spp: int,
    rough: int = 2,
    limit: int | None,
    tell: Callable[[str], None],
) -> None:
    """Render one photo with its truth file; the photo appears last and complete."""
    at = stage(shot)
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        scene = build_scene(shot, at, Path(folder))
        cam = at.camera.scaled(0.2 * 4000 / shot.size[0]) if preview else at.camera
        part, hole = (None, None) if preview else measured_part(shot, at)
        seed = shot.seed + 1 + 7919 * shot.frame
        linear = expose(scene, cam, 9 if preview else spp, seed, part, hole, rough, RIM_SPP)
    white = white_level(linear if not preview else _blow_up(linear, at), shot, at)
    sensor = replace(shot.sensor, white=white / shot.exposure)
    if preview:
        sensor = replace(sensor, blur_px=0.3, sharpen=0.2)
    rgb = develop(linear, sensor, np.random.default_rng([shot.seed, 3, shot.frame]))
    quality = 0
    if preview:
        Image.fromarray(rgb).save(out / f"{shot.name}.preview.png")
    else:
        write_truth(out / f"{shot.name}.truth.json", shot, at)
        quality = write_photo(out / f"{shot.name}.jpg", rgb, sensor, shot.exif_35mm, shot.when, limit)
    size = (out / f"{shot.name}.jpg").stat().st_size / 1e6 if not preview else 0
    tell(f"{shot.name}: {time.perf_counter() - started:.0f} s, quality {quality}, {size:.2f} MB")


def _blow_up(linear: Picture, at: Stage) -> Picture:
    return np.asarray(cv2.resize(linear, at.camera.size, interpolation=cv2.INTER_NEAREST), np.float32)


def random_shots(args: argparse.Namespace) -> list[Shot]:
    """Return the shots that `--random` and its options ask for."""
    wish = Wish(
        pen=args.pen, flush=args.flush, uneven_mm=args.uneven, artwork=args.artwork,
        px_per_mm=args.px_per_mm, table=args.table,
    )  # fmt: skip
    shot = granted(random_shot(args.random, args.seed, args.use), wish, room=args.views > 1)
    if args.openings:
        if not feasible(shot, args.openings):
            raise SystemExit(
                f"render: seed {args.seed} does not close at all of these openings; take another"
            )
        return openings(shot, args.openings)
    return views(shot, args.views) if args.views > 1 else [shot]


def numbers(text: str) -> tuple[float, ...]:
    """Numbers with commas between."""
    return tuple(float(part) for part in text.split(","))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("name", nargs="?", help="a sample, 'all', or 'lot'")
    parser.add_argument("--preview", action="store_true", help="800 pixels wide, a few seconds")
    parser.add_argument("--spp", type=int, default=9, help="paths per pixel (default 9)")
    parser.add_argument("-o", dest="out", type=Path, default=HERE)
    chance = parser.add_argument_group("random photos")
    chance.add_argument("--random", choices=sorted(CLASSES), help="make a random photo of this class")
    chance.add_argument("--seed", type=int, default=0)
    chance.add_argument("--use", choices=("arch", "backdrop"), help="how the sheet is used")
    chance.add_argument("--views", type=int, default=1, help="photos of the same dummy from several places")
    chance.add_argument(
        "--openings", type=numbers, metavar="180,100", help="photos of the same dummy at these opening angles"
    )
    chance.add_argument(
        "--pen", action=argparse.BooleanOptionalAction, default=None, help="felt-pen line along the base"
    )
    chance.add_argument("--flush", action="store_true", help="near ends even to 0.0-0.1 mm")
    chance.add_argument("--uneven", type=float, metavar="MM", help="near ends with this standard deviation")
    chance.add_argument("--px-per-mm", type=numbers, metavar="LO,HI", help="image scale in the sheet's plane")
    chance.add_argument("--artwork", action="store_true", help="printed pattern on strips and plane")
    chance.add_argument("--table", choices=around.TABLES)
    args = parser.parse_args()
    if (args.name is None) == (args.random is None):
        parser.error("give a sample's name, 'all', or --random CLASS")
    if args.random:
        shots = random_shots(args)
    elif args.name == "lot":
        shots = lot()
        args.out = args.out / FOLDER
    else:
        shots = [s for s in (*SAMPLES, *MECHANISMS) if args.name in ("all", s.name)]
        if not shots:
            parser.error(
                f"no sample '{args.name}'; there are: {', '.join(s.name for s in (*SAMPLES, *MECHANISMS))}"
            )
    start_mitsuba()
    args.out.mkdir(parents=True, exist_ok=True)
    if args.name == "lot":
        (args.out / "manifest.csv").write_text(manifest())
    for shot in shots:
        if shot.name not in BY_HAND:
            (args.out / shot.spec).write_text(spec_text(shot))
        take(
            shot,
            args.out,
            preview=args.preview,
            spp=args.spp,
            rough=4 if args.random else 2,
            limit=None if args.random else LOT_LIMIT if args.name == "lot" else LIMIT,
            tell=print,
        )


if __name__ == "__main__":
    main()
