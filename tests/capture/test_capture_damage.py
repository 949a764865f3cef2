"""A JPEG whose picture data were disturbed is refused; a whole one never is."""

import io
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
import simplejpeg
from PIL import Image

from capture.errors import PhotoError
from capture.jpeg_damage import has_slipped, is_damaged, largest_seam
from capture.photo import read_photo

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def pictured(rng: np.random.Generator, **options: object) -> bytes:
    """Card-like shapes on a shaded ground, with noise, as JPEG: 1600 x 1200."""
    y, x = np.mgrid[0:1200, 0:1600]
    picture = (90 + 40 * np.sin(x / 300.0) + 30 * np.cos(y / 250.0))[..., None].repeat(3, axis=2)
    for _ in range(30):
        corners = rng.uniform((0, 0), (1600, 1200), (4, 2)).astype(np.int32)
        cv2.fillConvexPoly(picture, cv2.convexHull(corners), [float(v) for v in rng.uniform(20, 235, 3)])
    picture[400:408, :] = 20  # a line all across, on the raster of the blocks
    picture = np.clip(cv2.GaussianBlur(picture, (0, 0), 1.0) + rng.normal(0, 2, picture.shape), 0, 255)
    out = io.BytesIO()
    Image.fromarray(picture.astype(np.uint8)).save(out, "JPEG", quality=90, **options)  # type: ignore[arg-type]
    return out.getvalue()


def scan_of(data: bytes) -> tuple[int, int]:
    """Where the first scan's coded data begin, and where the file's end marker stands (T.81, B.1.1)."""
    at = 2
    while data[at + 1] != 0xDA:
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return at + 2 + int.from_bytes(data[at + 2 : at + 4], "big"), len(data) - 2


def cut(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    a, b = scan_of(data)
    return data[: int(rng.integers(a, b - 2))] + b"\xff\xd9"


def zeroed(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    a, b = scan_of(data)
    at = int(rng.integers(a, b - size))
    return data[:at] + bytes(size) + data[at + size :]


def swapped(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    a, b = scan_of(data)
    first, second = sorted(int(v) for v in rng.integers(a, b - size, 2))
    second = min(max(second, first + size), b - size)
    out = bytearray(data)
    out[first : first + size], out[second : second + size] = (
        data[second : second + size],
        data[first : first + size],
    )
    return bytes(out)


def flipped(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    a, b = scan_of(data)
    out = bytearray(data)
    out[int(rng.integers(a, b))] ^= 1 << int(rng.integers(8))
    return bytes(out)


KINDS = [
    {},
    {"progressive": True},
    {"optimize": True, "subsampling": 0},
    {"restart_marker_rows": 1},
]


@pytest.mark.parametrize("options", KINDS)
def test_whole_pictures_are_whole(options: dict[str, object]) -> None:
    for seed in range(4):
        data = pictured(np.random.default_rng(seed), **options)
        assert not is_damaged(data)
        assert largest_seam(simplejpeg.decode_jpeg(data, colorspace="GRAY")[:, :, 0]) < 0.5


def block_tones(data: bytes) -> np.ndarray:
    tones: np.ndarray = simplejpeg.decode_jpeg(
        data, colorspace="GRAY", min_width=16, min_height=16, strict=False
    )[:, :, 0].astype(float)
    return tones


@pytest.mark.parametrize("options", KINDS[:3])
@pytest.mark.parametrize("mutate", [cut, zeroed, swapped, flipped])
def test_disturbed_pictures_are_found(
    mutate: Callable[[bytes, np.random.Generator, int], bytes], options: dict[str, object]
) -> None:
    rng = np.random.default_rng(11)
    data = pictured(rng, **options)
    whole = block_tones(data)
    passed = 0
    for _ in range(12):
        bad = mutate(data, rng, int(rng.choice([512, 4096])))
        try:
            damaged = is_damaged(bad)
        except ValueError:
            damaged = True
        if not damaged:
            # What passes shows the same picture, but for a few blocks: no dummy can be read wrong in it.
            passed += bool(np.mean(np.abs(block_tones(bad) - whole) > 8) > 2e-3)
    # A file holds no check sum, and swapped pieces of several rows of blocks leave nothing to compare between
    # them: in this clutter two of twelve get by.
    assert passed <= 2


def test_the_line_told(tmp_path: Path) -> None:
    data = pictured(np.random.default_rng(1))
    a, b = scan_of(data)
    (tmp_path / "hurt.jpg").write_bytes(data[: (a + b) // 2] + b"\xff\xd9")
    with pytest.raises(PhotoError, match=r"hurt.jpg: the JPEG is damaged .*copy it again") as caught:
        read_photo(tmp_path / "hurt.jpg")
    assert "\n" not in str(caught.value)


def test_a_step_of_tone_all_across_is_seen_and_an_edge_of_the_scene_is_not() -> None:
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:800, 0:1200]
    scene = np.clip(120 + x / 20 + rng.normal(0, 2, x.shape), 0, 255)
    step = scene.copy()
    step[400:, :480] -= 6  # from the raster's row, and a row of blocks higher right of where it began
    step[392:, 480:] -= 6
    edge = scene.copy()
    edge[400:, :700] += 60  # a sheet's edge over more than half of the width
    assert largest_seam(step.astype(np.uint8)) > 3.5  # of 6, less the noise's share
    for other in (scene, edge):
        assert largest_seam(other.astype(np.uint8)) < 1.0


def test_a_picture_that_slipped_by_a_block_is_seen() -> None:
    data = pictured(np.random.default_rng(3))
    whole = simplejpeg.decode_jpeg(data, colorspace="GRAY")[:, :, 0]
    slipped = whole.copy()
    slipped[608:, 8:] = whole[608:, :-8]
    slipped[600:608, 708:] = whole[600:608, 700:-8]
    assert has_slipped(slipped) and not has_slipped(whole)


@pytest.mark.photo
def test_no_sample_photo_is_called_damaged() -> None:
    for path in sorted(SAMPLES.glob("*.jpg")):
        assert not is_damaged(path.read_bytes()), path.name
