"""Reading photographs: kinds, orientation, depth, lens hints, and every way a file can be bad."""

import hashlib
import io
import os
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from capture.errors import PhotoError
from capture.files import FileBytes
from capture.lens_hint import Exif, FocalFrom, lens_hint
from capture.photo import photo_of_array, read_photo

W, H = 1280, 960


def scene() -> np.ndarray:
    """RGB picture with a different colour in each corner block."""
    out = np.full((H, W, 3), 90, np.uint8)
    out[:160, :320] = (250, 30, 20)
    out[:160, -320:] = (20, 240, 30)
    out[-160:, :320] = (30, 20, 245)
    return out


def corners(bgr: np.ndarray) -> list[str]:
    """Colour name at top left, top right, bottom left, bottom right."""
    h, w = bgr.shape[:2]
    names = []
    for row, col in ((60, 60), (60, w - 60), (h - 60, 60), (h - 60, w - 60)):
        b, g, r = (int(v) for v in bgr[row, col])
        names.append("red" if r > 200 else "green" if g > 200 else "blue" if b > 200 else "-")
    return names


def stored(orientation: int) -> np.ndarray:
    """Pixels as a camera would store them so that `orientation` turns them into `scene()`."""
    image = scene()
    undo = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: np.rot90(a),
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }
    return np.ascontiguousarray(undo[orientation](image))


def encode(rgb: np.ndarray, fmt: str, exif: Image.Exif | None = None) -> bytes:
    buffer = io.BytesIO()
    extra = {"quality": 92} if fmt in ("JPEG", "HEIF") else {}
    if fmt == "HEIF":
        pillow_heif.register_heif_opener()
    if exif is not None:
        # pillow_heif writes the turn into the file (`irot`) only if it gets the block as bytes
        extra["exif"] = exif.tobytes() if fmt == "HEIF" else exif
    Image.fromarray(rgb).save(buffer, fmt, **extra)
    return buffer.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "TIFF"])
def test_exif_orientation_is_applied(fmt: str, orientation: int, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "p"
    path.write_bytes(encode(stored(orientation), fmt, exif))
    photo = read_photo(path)
    assert photo.size == (W, H)
    assert corners(photo.bgr) == ["red", "green", "blue", "-"]


def test_heic_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "p.heic"
    exif = Image.Exif()
    exif[0x0112] = 6
    path.write_bytes(encode(stored(6), "HEIF", exif))
    photo = read_photo(path)
    assert photo.size == (W, H)
    assert corners(photo.bgr) == ["red", "green", "blue", "-"]
    assert np.mean(np.abs(photo.bgr[:, :, ::-1].astype(int) - scene())) < 2  # lossy codec
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("ext", [".png", ".tif"])
def test_sixteen_bits_are_reduced_by_257(ext: str, tmp_path: Path) -> None:
    grey = np.linspace(0, 65535, W * H).reshape(H, W).astype(np.uint16)
    path = tmp_path / f"p{ext}"
    assert cv2.imwrite(str(path), grey)
    expected = np.rint(grey / 257)
    assert np.abs(read_photo(path).grey.astype(int) - expected).max() <= 1
    assert np.mean(read_photo(path).grey - expected) == pytest.approx(0, abs=0.01)


def test_cmyk_grey_and_alpha_become_colour(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    Image.fromarray(scene()).convert("CMYK").save(buffer, "JPEG", quality=92)
    (tmp_path / "cmyk.jpg").write_bytes(buffer.getvalue())
    assert corners(read_photo(tmp_path / "cmyk.jpg").bgr) == ["red", "green", "blue", "-"]
    Image.fromarray(scene()).convert("RGBA").save(tmp_path / "a.png")
    assert corners(read_photo(tmp_path / "a.png").bgr) == ["red", "green", "blue", "-"]
    Image.fromarray(scene()).convert("L").save(tmp_path / "g.jpg")
    assert read_photo(tmp_path / "g.jpg").bgr.shape == (H, W, 3)
    Image.fromarray(scene()).quantize(16).save(tmp_path / "p.png")
    assert corners(read_photo(tmp_path / "p.png").bgr) == ["red", "green", "blue", "-"]


def test_a_photo_as_path_bytes_or_array_is_the_same(tmp_path: Path) -> None:
    data = encode(scene(), "PNG")
    (tmp_path / "p.png").write_bytes(data)
    by_path = read_photo(tmp_path / "p.png")
    for other in (
        read_photo(str(tmp_path / "p.png")),
        read_photo(data, "p.png"),
        read_photo(FileBytes("p.png", data)),
        read_photo(by_path),
    ):
        assert (other.name, other.sha256) == ("p.png", by_path.sha256)
        assert np.array_equal(other.bgr, by_path.bgr)
    by_array = read_photo(by_path.bgr, "p.png")
    assert by_array.name == "p.png" and np.array_equal(by_array.grey, by_path.grey)
    assert read_photo(by_path, "q.png").name == "q.png"
    assert read_photo(data).name == read_photo(by_path.grey).name == "photo"
    for small in (np.zeros((20, 20), np.uint8), np.zeros(0, np.uint8)):
        with pytest.raises(PhotoError, match="photo: .* too small"):
            read_photo(small)
    with pytest.raises(PhotoError, match="p.png: the file is empty"):
        read_photo(b"", "p.png")


def test_a_pipe_or_a_device_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    for path in (tmp_path / "pipe.jpg", Path("/dev/zero")):
        with pytest.raises(PhotoError, match="cannot read .*a pipe or a device"):
            read_photo(path)


def test_pixels_cannot_be_changed_by_accident(tmp_path: Path) -> None:
    (tmp_path / "p.png").write_bytes(encode(scene(), "PNG"))
    photo = read_photo(tmp_path / "p.png")
    with pytest.raises(ValueError, match="read-only"):
        photo.grey[0, 0] = 1


def big_png_header(side: int = 30000) -> bytes:
    """Build a PNG that claims so many pixels either way and holds almost nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"0" * 100))
        + chunk(b"IEND", b"")
    )


BAD = {
    "text": (b"hello, I am not a photo", r"not a JPEG, PNG, TIFF or HEIC picture"),
    "gif": (b"GIF89a" + bytes(50), r"not a JPEG, PNG, TIFF or HEIC picture"),
    "empty": (b"", r"the file is empty"),
    "bomb": (big_png_header(), r"more than 210 megapixels"),
    "215 MP": (big_png_header(14660), r"14660 x 14660 pixels is more than 210 megapixels"),
    "190 MP": (big_png_header(13784), r"PNG file is damaged or cut short"),  # of a size that is read
    "small": (encode(scene()[:400, :600], "JPEG"), r"600 x 400 pixels is too small"),
    "cut jpeg": (encode(scene(), "JPEG")[:-2000], r"JPEG is cut short"),
    "cut in half": (encode(scene(), "JPEG")[: len(encode(scene(), "JPEG")) // 2], r"JPEG is cut short"),
    "cut in header": (encode(scene(), "JPEG")[:150], r"damaged or cut short"),
    "cut png": (encode(scene(), "PNG")[:900], r"PNG file is damaged or cut short"),
    "cut tiff": (encode(scene(), "TIFF")[:100000], r"TIFF file is damaged or cut short"),
    "cut heic": (encode(scene(), "HEIF")[:400], r"HEIC file is damaged or cut short"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_get_one_clear_line(case: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    data, message = BAD[case]
    path = tmp_path / "bad.jpg"
    path.write_bytes(data)
    with pytest.raises(PhotoError, match=message) as caught:
        read_photo(path)
    assert "\n" not in str(caught.value) and "bad.jpg" in str(caught.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match=r"no photo at .*nothing\.jpg; check the name"):
        read_photo(tmp_path / "nothing.jpg")
    with pytest.raises(PhotoError, match="is a folder, not a photo"):
        read_photo(tmp_path)


def test_whole_jpeg_with_trailing_data_and_thumbnail_is_read(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F] = "maker" + "\xff\xd9" * 3
    data = encode(scene(), "JPEG", exif)
    (tmp_path / "p.jpg").write_bytes(data + bytes(5000))
    assert read_photo(tmp_path / "p.jpg").size == (W, H)


def test_focal_length_from_35_mm_equivalent(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker", "Model 3"
    exif.get_ifd(0x8769)[0xA405] = 52
    (tmp_path / "p.jpg").write_bytes(encode(scene(), "JPEG", exif))
    photo = read_photo(tmp_path / "p.jpg")
    assert photo.exif.camera == "Maker Model 3"
    # f_px = f35 * diagonal / 43.26661530556787 (diagonal of 36 x 24 mm, by arithmetic)
    assert photo.lens.focal_px == pytest.approx(52 * 1600 / 43.26661530556787)
    assert photo.lens.rel_sd == pytest.approx(0.03, abs=0.002)
    assert photo.lens.source is FocalFrom.EQUIVALENT and photo.lens.mm == 52


def test_focal_length_from_sensor_resolution() -> None:
    exif = Exif(focal_mm=50.0, plane_px_per_mm=100.0, stored_size=(4000, 3000))
    assert lens_hint(exif, (2000, 1500)).focal_px == pytest.approx(2500)
    assert lens_hint(exif, (1500, 2000)).focal_px == pytest.approx(2500)


def test_no_hint_is_taken_from_a_cropped_or_silent_photo() -> None:
    assert lens_hint(Exif(), (4000, 3000)).focal_px is None
    cropped = lens_hint(Exif(focal_35_mm=26.0, stored_size=(4000, 3000)), (3000, 3000))
    assert cropped.focal_px is None and cropped.source is FocalFrom.CROPPED


def test_array_of_wrong_type_is_a_bad_call() -> None:
    with pytest.raises(ValueError, match=r"uint8 .* got float64"):
        photo_of_array(np.zeros((10, 10)))  # type: ignore[arg-type]
