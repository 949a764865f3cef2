"""One disturbed file after the other through the commands, in a process that may be killed."""

import contextlib
import io
import json
import os
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final

import numpy as np
from click.testing import CliRunner
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pillow_heif import from_pillow

from compare.cli import main
from tests.helpers.attack_photos import disturbed
from tests.helpers.attack_words import disturbed_text

SAMPLES: Final = Path("sample_images")
PHOTOS: Final = ("short_leg", "good_sill", "sill_short_leg", "foot_off", "vfold")
"""Good dummies and faulty ones, in an arch and before a backdrop, with and without a sill."""

WIDE: Final = 2400
"""Pixels: large enough to measure in, small enough to measure in many."""

KINDS: Final = ("photo",) * 5 + ("spec", "manifest", "points", "camera", "printer")
CONFORMS, BAD_INPUT, FAILS, OPEN = 0, 2, 3, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """What came of one file.

    Attributes
    ----------
    kind : of file. how : it was disturbed. code : exit code.
    faults : what must not be, by name.
    said : the first line on standard error.
    seconds : processor time of the command.
    """

    kind: str
    how: str
    code: int
    faults: tuple[str, ...] = ()
    said: str = ""
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Ground:
    """What the attack starts from: a folder to work in, and one in which whole photos are kept between runs.

    With every whole photo stands what came of it: an answer to compare with.
    """

    folder: Path
    kept: Path

    def photo(self, name: str, form: str) -> bytes:
        """Return a whole sample photo as a file of some form."""
        path = self.kept / f"{name}.{form}"
        if not path.exists():
            path.write_bytes(encoded(SAMPLES / f"{name}.jpg", form))
        return path.read_bytes()

    def answer(self, name: str, form: str) -> tuple[int, dict[str, Any]]:
        """Return exit code and JSON for the whole photo."""
        path = self.kept / f"{name}.{form}.json"
        if not path.exists():
            self.photo(name, form)
            spec = SAMPLES / f"{name}.toml"
            code, out, _ = run("check", self.kept / f"{name}.{form}", "--spec", spec, "--json")
            path.write_text(json.dumps([code, json.loads(out) if out else {}]))
        code, found = json.loads(path.read_text())
        return code, found


def encoded(path: Path, form: str) -> bytes:
    """A photo made smaller, in one of the forms that are read."""
    with Image.open(path) as photo:
        exif = photo.getexif().tobytes()
        picture = photo.convert("RGB").resize(
            (WIDE, WIDE * photo.height // photo.width), Image.Resampling.BOX
        )
    out = io.BytesIO()
    match form:
        case "HEIC":
            from_pillow(picture).save(out, quality=80, exif=exif, enc_params={"preset": "ultrafast"})
        case "TIFF":
            picture.convert("L").save(out, form, compression="tiff_lzw")
        case "PNG":
            picture.convert("L").save(out, form, compress_level=1, pnginfo=PngInfo())
        case _:
            picture.save(out, "JPEG", quality=90, exif=exif, progressive=form == "progressive")
    return out.getvalue()


def run(*args: str | Path) -> tuple[int, str, str]:
    """Run a command in this process; exit code, standard output and error."""
    result = CliRunner().invoke(main, [str(a) for a in args])
    return result.exit_code, result.stdout, result.stderr


def attack(ground: Ground, number: int) -> Came:
    """Send the file of this number through its command; the same number is always the same file."""
    rng = np.random.default_rng([18, number])
    kind = KINDS[number % len(KINDS)]
    return photo_attack(ground, rng) if kind == "photo" else text_attack(ground, kind, rng)


def photo_attack(ground: Ground, rng: np.random.Generator) -> Came:
    name = str(rng.choice(PHOTOS))
    form = str(rng.choice(["JPEG", "progressive", "PNG", "TIFF", "HEIC"], p=[0.6, 0.16, 0.08, 0.08, 0.08]))
    how, bad = disturbed(ground.photo(name, form), rng)
    path, spec = ground.folder / "photo.jpg", SAMPLES / f"{name}.toml"
    path.write_bytes(bad)
    start = time.process_time()
    code, out, err = run("check", path, "--spec", spec, "--json")
    seconds = time.process_time() - start
    faults = usual_faults(code, out, err, {path: bad})
    if code not in (BAD_INPUT, 1):
        before, was = ground.answer(name, form)
        if {code, before} == {CONFORMS, FAILS}:
            faults.append("wrong verdict")
        if code == CONFORMS and before == FAILS:
            faults.append("false conforms")
        if far_off(was, json.loads(out)):
            faults.append("length off by more than U")
    return Came(
        kind="photo",
        how=f"{form} {how}",
        code=code,
        faults=tuple(faults),
        said=f"{name}: {err[:200]}",
        seconds=seconds,
    )


def far_off(was: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """Lengths that differ from those of the whole photo by more than both expanded uncertainties allow."""
    out = []
    for name, length in now["lengths"].items():
        before = was["lengths"].get(name)
        if before and None not in (length["measured"], length["U"], before["measured"], before["U"]):
            allowed = float(np.hypot(length["U"], before["U"]))
            if abs(length["measured"] - before["measured"]) > allowed:
                out.append(name)
    return out


def text_attack(ground: Ground, kind: str, rng: np.random.Generator) -> Came:
    spec = SAMPLES / "short_leg.toml"
    photo = ground.folder / "good.jpg"
    if not photo.exists():
        photo.write_bytes(ground.photo("short_leg", "JPEG"))
    commands: dict[str, tuple[str, Callable[[Path], tuple[str | Path, ...]]]] = {
        "spec": (
            (SAMPLES / f"{rng.choice(PHOTOS)}.toml").read_text(encoding="utf-8"),
            lambda path: ("design", path, "--json"),
        ),
        "manifest": (
            "sample,photo,time,die\n1,good.jpg,2031-04-05T10:00,left\n2,none.jpg,x,y\n3,lot/none.jpg,,\n",
            lambda path: ("lot", "check", ground.folder, "--spec", spec, "--manifest", path, "--no-report",
                          "--ledger", ground.folder / "ledger.sqlite", "--workers", "1", "--json"),
        ),
        "points": (
            "joint,x,y,sd\nspine,1171,1461.5,3\nridge,1174,1252.25,\n\nleg top right,1453,1270,2\n",
            lambda path: ("check", photo, "--spec", spec, "--json", "--points", path),
        ),
        "camera": (CAMERA, lambda path: ("check", photo, "--spec", spec, "--json", "--camera", path)),
        "printer": (
            "# as read\na4 = [150.3, 99.5, 0.1]\nletter = [140, 95]\n",
            lambda path: ("check", photo, "--spec", spec, "--json", "--printer", path),
        ),
    }  # fmt: skip
    text, command = commands[kind]
    how, bad = disturbed_text(text, rng)
    path = ground.folder / ("text.csv" if kind in ("manifest", "points") else "text.toml")
    path.write_bytes(bad)
    start = time.process_time()
    code, out, err = run(*command(path))
    seconds = time.process_time() - start
    faults = usual_faults(code, out, err, {path: bad, photo: ground.photo("short_leg", "JPEG")})
    if kind in ("points", "camera", "printer") and code == CONFORMS:
        faults.append("false conforms")  # its leg is 2 mm short
    return Came(kind=kind, how=how, code=code, faults=tuple(faults), said=err[:300], seconds=seconds)


CAMERA: Final = (
    """format = 1
model = "Papermoth Papermoth 12"
focal_35_mm = 52.0
size = [2400, 1800]
n_photos = 9
rms_px = 0.2
[lens]
log_focal = 8.1885
k1 = 0.03
k2 = 0.0
cx = 1199.5
cy = 899.5
k3 = 0.0
p1 = 0.0
p2 = 0.0
covariance = [
"""
    + "\n".join(f"  [{', '.join('4e-4' if i == j else '0.0' for j in range(8))}]," for i in range(8))
    + "\n]\n"
)


def usual_faults(code: int, out: str, err: str, inputs: dict[Path, bytes]) -> list[str]:
    """What must never be, whatever came in."""
    faults = []
    if code == 1 or "Traceback" in out + err:
        faults.append("traceback")
    if code not in (0, 1, BAD_INPUT, FAILS, OPEN):
        faults.append("unknown exit code")
    if code == BAD_INPUT and (err.count("\n") != 1 or out):
        faults.append("not one line")
    if any(not c.isprintable() and c != "\n" for c in out + err):
        faults.append("control character")
    if any(path.read_bytes() != data for path, data in inputs.items()):
        faults.append("input changed")
    return faults


def memory_mb(what: str) -> float:
    """A figure of this process's memory (VmHWM: its highest), MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(what):
            return float(line.split()[1]) / 1000
    return float("nan")


def serve(pipe: Connection, folder: str, kept: str) -> None:
    """Be the worker: a number comes in, what came of its file goes out."""
    warnings.simplefilter("error")  # a warning is a fault of ours, as in the tests
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    ground = Ground(Path(folder), Path(kept))
    while True:
        number = pipe.recv()
        with contextlib.suppress(OSError):
            Path("/proc/self/clear_refs").write_text("5")  # begins the highest anew (Linux, proc(5))
        try:
            came = attack(ground, number)
        except Exception as err:  # of the attack itself
            came = Came(
                kind=KINDS[number % len(KINDS)], how="?", code=-1, faults=("attack failed",), said=repr(err)
            )
        pipe.send(
            {
                **{k: getattr(came, k) for k in ("kind", "how", "code", "faults", "said", "seconds")},
                "peak_mb": memory_mb("VmHWM"),
            }
        )
