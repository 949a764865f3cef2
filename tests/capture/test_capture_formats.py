"""The same scene in every kind of file a phone or an office writes: same marks, whatever the packing."""

import io
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from capture.camera.adjust import solve_view
from capture.camera.rectify import linear_grey, srgb_to_linear
from capture.photo import photo_of_array, read_photo
from capture.sheet.marker_sheet import SHEETS
from capture.sight.sighting import find_sheet
from tests.capture.test_capture_scene import camera, picture, true_saddles

Save = Callable[[np.ndarray, Path], None]
VIEW = camera(eye=(60.0, 90.0, 560.0), roll_deg=2.0, f35_mm=45.0, k1=-0.04, size=(2000, 1500))


@pytest.fixture(scope="module")
def grey() -> np.ndarray:
    rng = np.random.default_rng(41)
    return picture(VIEW, arch=True, blur_px=0.8, noise=1.5, samples=2, rng=rng)


def by_pillow(*, mode: str | None = None, thumbnail: bool = False, **options: object) -> Save:
    def save(grey: np.ndarray, path: Path) -> None:
        image = Image.fromarray(np.stack([grey] * 3, axis=-1))
        exif: dict[str, object] = {}
        if thumbnail:  # as phones append theirs: a JPEG within the JPEG's EXIF block
            held = io.BytesIO()
            Image.new("RGB", (160, 120), (200, 30, 30)).save(held, "JPEG")
            exif = {"exif": Image.Exif().tobytes() + held.getvalue()}
        (image.convert(mode) if mode else image).save(path, **options, **exif)

    return save


def sixteen_bits(grey: np.ndarray, path: Path) -> None:
    assert cv2.imwrite(str(path), grey.astype(np.uint16) * 257)


def heic(grey: np.ndarray, path: Path) -> None:
    pillow_heif.register_heif_opener()
    Image.fromarray(np.stack([grey] * 3, axis=-1)).save(path, "HEIF", quality=90)


KINDS = {
    "plain.jpg": by_pillow(quality=92),
    "progressive.jpg": by_pillow(quality=92, progressive=True),
    "thumbnail.jpg": by_pillow(quality=92, thumbnail=True),
    "grey.jpg": by_pillow(quality=92, mode="L"),
    "cmyk.jpg": by_pillow(quality=95, mode="CMYK"),
    "plain.png": by_pillow(),
    "16bit.png": sixteen_bits,
    "16bit.tif": sixteen_bits,
    "plain.heic": heic,
    "wrong_name.jpg": by_pillow(format="PNG"),
}


@pytest.mark.parametrize("name", KINDS)
def test_marks_are_the_same_in_every_file(name: str, grey: np.ndarray, tmp_path: Path) -> None:
    KINDS[name](grey, tmp_path / name)
    photo = read_photo(tmp_path / name)
    assert photo.size == (2000, 1500)
    found = find_sheet(photo)
    assert len(found.index) == 50
    off = found.px - true_saddles(VIEW, SHEETS["a4"])[found.index]
    # 0.015 px in the picture itself; the lossy ones add as much again
    assert np.abs(off.mean(axis=0)).max() < 0.01 and np.sqrt(np.mean(off**2)) < 0.035


def test_two_megapixels_work_with_a_wider_uncertainty(grey: np.ndarray) -> None:
    small = np.asarray(cv2.resize(grey, (1632, 1224), interpolation=cv2.INTER_AREA))
    large, little = (solve_view(p, find_sheet(p)) for p in (photo_of_array(grey), photo_of_array(small)))
    assert little.n_saddles >= 48
    corner = np.array([[100.0, 60.0]])
    sd = []
    for view in (large, little):
        cov = view.cov.copy()
        cov[11:13, :] = cov[:, 11:13] = 0  # the print scale is as doubtful in both
        jac = view.plane_jacobian(corner)[0]
        sd.append(np.sqrt(np.trace(jac @ cov @ jac.T)))
        seen = view.to_plane(VIEW.project([[100.0, 60.0, 0.0]]) if view is large else _shrunk(), 0.0)
        assert np.abs(seen - corner).max() < 0.1
    assert sd[1] > sd[0]


def _shrunk() -> np.ndarray:
    at = VIEW.project(np.array([[100.0, 60.0, 0.0]]))
    return np.asarray((at + 0.5) * 1632 / 2000 - 0.5)


def test_linear_light_in_bands_is_the_plain_sum() -> None:
    rng = np.random.default_rng(42)
    bgr = rng.integers(0, 256, (600, 70, 3), dtype=np.uint8)
    table = srgb_to_linear().astype(float)
    # ITU-R BT.709 luminance of linear red, green, blue
    plain = 0.0722 * table[bgr[..., 0]] + 0.7152 * table[bgr[..., 1]] + 0.2126 * table[bgr[..., 2]]
    assert np.abs(linear_grey(photo_of_array(bgr)) - plain).max() < 1e-6
