"""foldgauge camera, and --camera, --printer and --bars of foldgauge check, from files to the answer."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from capture.camera.camera_file import read_camera
from compare.cli import main
from tests.capture.test_capture_scene import camera, picture

ROOT = Path(__file__).resolve().parents[2]
SMALL = (2000, 1500)
EYES = ((150.0, 60.0, 380.0), (-160.0, 40.0, 380.0), (20.0, 190.0, 360.0), (0.0, -190.0, 370.0))


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four photos of the board, one of something else, one unreadable."""
    folder = tmp_path_factory.mktemp("boards")
    rng = np.random.default_rng(31)
    for k, eye in enumerate(EYES):
        view = camera(eye=eye, roll_deg=90.0 * (k == 1), f35_mm=48.0, size=SMALL, k1=-0.05, centre_px=(4, -3))
        grey = picture(view, "board", blur_px=0.8, noise=2.0, samples=2, rng=rng)
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0xA405] = 50
        exif[0x0110] = "Papermoth 12"
        Image.fromarray(grey).save(folder / f"board{k}.jpg", quality=93, exif=exif)
    cv2.imwrite(str(folder / "cat.jpg"), rng.integers(0, 255, (1500, 2000), dtype=np.uint8))
    (folder / "note.jpg").write_text("no picture")
    return folder


def test_camera_command(boards: Path, tmp_path: Path) -> None:
    out = tmp_path / "phone.toml"
    names = [boards / f"board{k}.jpg" for k in range(4)]
    done = run("camera", *names, boards / "cat.jpg", boards / "note.jpg", "-o", out)
    assert done.exit_code == 0, done.stderr
    assert "phone.toml: Papermoth 12, 2000 x 1500 pixels, from 4 of 6 photos." in done.stdout
    assert "left out: cat.jpg: no marker sheet found" in done.stdout
    assert "left out: note.jpg: not a" in done.stdout
    assert "To do better: 4 photos were used; take 8 to 15." in done.stdout
    cam = read_camera(out)
    focal = 48.0 * 2500 / np.hypot(36, 24)
    assert np.exp(cam.params[0]) == pytest.approx(focal, rel=1.5e-3)
    again = run("camera", *names, "-o", out, "--json")
    told = json.loads(again.stdout)
    assert told["focal_px"] == pytest.approx(focal, rel=1.5e-3) and len(told["photos"]) == 4
    assert abs(told["focal_px"] - focal) < 3 * told["focal_u_px"]


def test_camera_command_refuses_in_one_line(boards: Path, tmp_path: Path) -> None:
    out = tmp_path / "phone.toml"
    for args, told in (
        ([boards / "board0.jpg", boards / "cat.jpg"], "only 1 photos of the board can be used, 3 are needed"),
        ([tmp_path / "none.jpg"], "no photo at"),
    ):
        done = run("camera", *args, "-o", out)
        assert done.exit_code == 2 and told in done.stderr and done.stderr.count("\n") == 1
        assert not out.exists()
    assert run("camera", "-o", out).exit_code == 2


@pytest.mark.photo
def test_check_with_camera_and_printer_files(boards: Path, tmp_path: Path) -> None:
    photo, spec = (ROOT / "sample_images" / f"short_leg.{kind}" for kind in ("jpg", "toml"))
    read = json.loads((photo.parent / "short_leg.truth.json").read_text())["bars_read_mm"]
    bars, printer = f"{read[0]},{read[1]}", tmp_path / "office.toml"
    done = run("check", photo, "--spec", spec, "--bars", bars, "--printer", printer)
    assert done.exit_code == 3 and printer.exists()
    again = run("check", photo, "--spec", spec, "--printer", printer)
    assert again.stdout == done.stdout
    run("camera", *[boards / f"board{k}.jpg" for k in range(4)], "-o", tmp_path / "phone.toml")
    wrong = run("check", photo, "--spec", spec, "--camera", tmp_path / "phone.toml")
    assert wrong.exit_code == 2 and wrong.stderr.count("\n") == 1
    assert (
        "short_leg.jpg was taken with Papermoth Papermoth 12, phone.toml is for Papermoth 12" in wrong.stderr
    )
    gone = run("check", photo, "--spec", spec, "--camera", tmp_path / "gone.toml")
    assert gone.exit_code == 2 and "no camera file" in gone.stderr


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("150.2,100.1", (150.2, 100.1, 0.1)),
        ("150,100", (150.0, 100.0, 0.5 / 3**0.5)),
        ("150.2,100.1,0.05", None),
    ],
)
def test_bars_know_how_well_they_were_read(text: str, numbers: tuple[float, ...] | None) -> None:
    from compare.commands.set_up_options import bars

    assert bars(None, None, text) == (numbers or (150.2, 100.1, 0.05))  # type: ignore[arg-type]
