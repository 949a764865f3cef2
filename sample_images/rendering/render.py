"""Render the sample photographs with a path tracer, or random ones for trials.

    python sample_images/rendering/render.py all
    python sample_images/rendering/render.py NAME [--preview]
    python sample_images/rendering/render.py lot | phone | steps
    python sample_images/rendering/render.py --random CLASS --seed N -o DIR [--views 3 --pen --flush
    --px-per-mm 8,11]
    python sample_images/rendering/render.py --random CLASS --seed 8000-8019 -o DIR [--cuda]

Needs the `render` extra (Mitsuba 3) and an LLVM library, version 16 or newer.
"""

import argparse
import os
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cv2  # noqa: E402
import numpy as np  # noqa: E402
from PIL import Image  # noqa: E402

from sample_images.rendering.cards.lying_shut import Above  # noqa: E402
from sample_images.rendering.chance.catalogue import CLASSES, random_shot, spec_text  # noqa: E402
from sample_images.rendering.chance.random_series import Wish, feasible, granted, openings, views  # noqa: E402
from sample_images.rendering.chance.random_spreads import SPREADS, random_spread  # noqa: E402
from sample_images.rendering.orrin import orrin_phone
from sample_images.rendering.orrin.orrin_mechanisms import MECHANISMS  # noqa: E402
from sample_images.rendering.orrin.orrin_quay import SAMPLES  # noqa: E402
from sample_images.rendering.orrin.orrin_shut import CLOSED  # noqa: E402
from sample_images.rendering.orrin.quay_lot import FOLDER, lot, manifest  # noqa: E402
from sample_images.rendering.orrin.three_steps import STEPS, take_step  # noqa: E402
from sample_images.rendering.scene import surroundings
from sample_images.rendering.scene.known_lens import camera_text  # noqa: E402
from sample_images.rendering.scene.lit_scene import (  # noqa: E402
    above_scene,
    build_scene,
    tiles_above,
    tiles_of,
    white_level,
)
from sample_images.rendering.scene.phone_camera import Picture, develop, expose, write_photo  # noqa: E402
from sample_images.rendering.scene.staging import Shot, Stage, stage, write_truth  # noqa: E402

HERE = Path(__file__).resolve().parents[1]
LIMIT = 2_000_000
SMALL_LIMIT = 400_000
BY_HAND = {shot.name for shot in MECHANISMS}
"""Samples whose specs are written by hand."""


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


def start_mitsuba(cuda: bool = False) -> None:
    """Choose the path tracer's CUDA or LLVM variant, or, without an LLVM library, the scalar one (slow)."""
    import mitsuba as mi

    if cuda:
        mi.set_variant("cuda_ad_rgb")
        return
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


def take(
    shot: Shot,
    out: Path,
    *,
    preview: bool,
    spp: int,
    limit: int | None,
    tell: Callable[[str], None],
) -> None:
    """Render one photo with its truth file; the photo appears last and complete."""
    at = stage(shot)
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        scene = build_scene(shot, at, Path(folder))
        cam = at.camera.scaled(0.2 * 4000 / shot.size[0]) if preview else at.camera
        seed = shot.seed + 1 + 7919 * shot.frame
        linear = expose(scene, cam, spp, seed, None if preview else tiles_of(shot, at, spp))
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


def take_above(
    photo: Above, out: Path, *, preview: bool, spp: int, limit: int, tell: Callable[[str], None]
) -> None:
    """Render one photo from above with its truth file; the photo appears last and complete."""
    started = time.perf_counter()
    cam = photo.camera()
    with tempfile.TemporaryDirectory() as folder:
        scene = above_scene(photo, Path(folder))
        lens = cam.scaled(0.2 * 4000 / photo.size[0]) if preview else cam
        linear = expose(scene, lens, spp, photo.seed + 1, None if preview else tiles_above(photo, spp))
    # a phone exposes for the picture's brighter half: here the sheet's white
    sensor = replace(photo.sensor, white=float(np.percentile(linear.mean(axis=2), 96)) / photo.exposure)
    rgb = develop(linear, sensor, np.random.default_rng([photo.seed, 3]))
    if preview:
        Image.fromarray(rgb).save(out / f"{photo.name}.preview.png")
    else:
        photo.write_truth(out / f"{photo.name}.truth.json")
        write_photo(out / f"{photo.name}.jpg", rgb, sensor, photo.lens.exif_35mm, photo.when, limit)
    tell(f"{photo.name}: {time.perf_counter() - started:.0f} s")


def random_shots(args: argparse.Namespace, seed: int) -> list[Shot]:
    """Return the shots of a seed that `--random` and its options ask for."""
    wish = Wish(
        pen=args.pen, flush=args.flush, uneven_mm=args.uneven, artwork=args.artwork, apron=args.apron,
        hidden=args.hidden, px_per_mm=args.px_per_mm, table=args.table,
    )  # fmt: skip
    shot = granted(random_shot(args.random, seed, args.use), wish, room=args.views > 1)
    if args.openings:
        if not feasible(shot, args.openings):
            raise SystemExit(f"render: seed {seed} does not close at all of these openings; take another")
        return openings(shot, args.openings)
    return views(shot, args.views) if args.views > 1 else [shot]


def take_spreads(args: argparse.Namespace, seeds: Iterable[int]) -> None:
    """Render random spreads with their spec, truth and, where the lens is known, camera files."""
    start_mitsuba(args.cuda)
    args.out.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        shot, text = random_spread(args.random, seed)
        (args.out / shot.spec).write_text(text)
        if shot.calibrated:
            (args.out / f"{shot.name}.camera.toml").write_text(camera_text(shot))
        take(shot, args.out, preview=args.preview, spp=args.spp, limit=None, tell=print)


def seeds_of(text: str) -> range:
    """One seed, or all from the first to the last: "8000-8019"."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def numbers(text: str) -> tuple[float, ...]:
    """Numbers with commas between."""
    return tuple(float(part) for part in text.split(","))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("name", nargs="?", help="a sample, 'all', 'lot', 'phone' or 'steps'")
    parser.add_argument("--preview", action="store_true", help="800 pixels wide, a few seconds")
    parser.add_argument("--spp", type=int, default=9, help="paths per pixel (default 9)")
    parser.add_argument("--cuda", action="store_true", help="trace on an NVIDIA GPU")
    parser.add_argument("-o", dest="out", type=Path, default=HERE)
    chance = parser.add_argument_group("random photos")
    chance.add_argument(
        "--random", choices=sorted((*CLASSES, *SPREADS)), help="make a random photo of this class"
    )
    chance.add_argument("--seed", type=seeds_of, default=range(1), metavar="N[-M]")
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
    chance.add_argument("--apron", action="store_true", help="raised on a book, the apron in front of it")
    chance.add_argument("--hidden", action="store_true", help="something hides part of the sheet")
    chance.add_argument("--table", choices=surroundings.TABLES)
    args = parser.parse_args()
    if (args.name is None) == (args.random is None):
        parser.error("give a sample's name, 'all', or --random CLASS")
    if args.random in SPREADS:
        take_spreads(args, args.seed)
        return
    if args.name in ("phone", *(c.name for c in CLOSED)):
        phone = args.name == "phone"
        args.out = args.out / orrin_phone.FOLDER if phone else args.out
        above = orrin_phone.board_photos() if phone else [c for c in CLOSED if c.name == args.name]
        start_mitsuba(args.cuda)
        args.out.mkdir(parents=True, exist_ok=True)
        limit = SMALL_LIMIT if phone else LIMIT
        for photo in above:
            take_above(photo, args.out, preview=args.preview, spp=args.spp, limit=limit, tell=print)
        if not phone:
            return
    if args.name == "steps":
        start_mitsuba(args.cuda)
        (args.out / "docs").mkdir(parents=True, exist_ok=True)
        for step in STEPS:
            take_step(step, args.out / "docs", spp=max(args.spp, 64), tell=print)
        return
    small = args.name in ("lot", "phone")
    if args.random:
        shots = [shot for seed in args.seed for shot in random_shots(args, seed)]
    elif args.name == "lot":
        shots = lot()
        args.out = args.out / FOLDER
    elif args.name == "phone":
        shots = [orrin_phone.ferry()]
    else:
        shots = [s for s in (*SAMPLES, *MECHANISMS) if args.name in ("all", s.name)]
        if not shots:
            parser.error(
                f"no sample '{args.name}'; there are: {', '.join(s.name for s in (*SAMPLES, *MECHANISMS))}"
            )
    start_mitsuba(args.cuda)
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
            limit=None if args.random else SMALL_LIMIT if small else LIMIT,
            tell=print,
        )


if __name__ == "__main__":
    main()
