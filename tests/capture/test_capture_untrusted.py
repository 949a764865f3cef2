"""A photo from elsewhere is decoded in a process of its own, whose word is not taken for granted."""

import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from capture.errors import PhotoError
from capture.files import FileBytes
from capture.photo import read_photo
from capture.untrusted_photo import Limits, read_untrusted


def photo_bytes() -> bytes:
    rng = np.random.default_rng(3)
    coarse = rng.integers(0, 255, (38, 50, 3)).astype(np.uint8)
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "Maker", 6
    exif.get_ifd(0x8769)[0xA405] = 26
    out = io.BytesIO()
    Image.fromarray(coarse).resize((1500, 1140)).save(out, "JPEG", quality=90, exif=exif.tobytes())
    return out.getvalue()


def test_it_is_the_same_photo_as_read_here() -> None:
    data = photo_bytes()
    here, elsewhere = read_photo(FileBytes("a.jpg", data)), read_untrusted(FileBytes("a\x1b.jpg", data))
    assert elsewhere.name == "a?.jpg" and elsewhere.size == here.size == (1140, 1500)
    assert np.array_equal(elsewhere.bgr, here.bgr) and np.array_equal(elsewhere.grey, here.grey)
    assert (elsewhere.exif, elsewhere.lens, elsewhere.sha256) == (here.exif, here.lens, here.sha256)


def test_refusals_come_through_and_memory_is_bounded(tmp_path: Path) -> None:
    data = photo_bytes()
    with pytest.raises(PhotoError, match=r"^b\.jpg: the JPEG is damaged"):
        read_untrusted(FileBytes("b.jpg", data[: len(data) // 2] + b"\xff\xd9"))
    with pytest.raises(PhotoError, match=r"no photo at .*none\.jpg"):
        read_untrusted(tmp_path / "none.jpg")
    with pytest.raises(PhotoError, match=r"^photo: decoding the photo "):
        read_untrusted(data, Limits(memory_bytes=150_000_000))


EXIF = {"camera": "", "orientation": 1, "focal_mm": None, "focal_35_mm": None, "plane_px_per_mm": None,
        "stored_size": None}  # fmt: skip
LIES = {
    "nothing": "",
    "no line": "x" * 20_000,
    "no JSON": "hello\n",
    "another size": json.dumps({"error": "", "size": [10, 10], "exif": EXIF}) + "\n" + "abc",
    "a size below nothing": json.dumps({"error": "", "size": [-10, -10], "exif": EXIF}) + "\n" + "a" * 300,
    "a size beyond all": json.dumps({"error": "", "size": [10**6, 10**6], "exif": EXIF}) + "\n",
    "EXIF of another kind": json.dumps({"error": "", "size": [1, 1], "exif": []}) + "\nabc",
    "deep": '{"size":' * 5000 + "\n",
}  # fmt: skip


@pytest.mark.parametrize("lie", LIES)
def test_a_worker_that_lies_is_not_believed(
    lie: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "said").write_text(LIES[lie])
    (tmp_path / "worker").write_text(f"#!/bin/sh\ncat {tmp_path}/said\n")
    (tmp_path / "worker").chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(tmp_path / "worker"))
    with pytest.raises(PhotoError, match=r"^photo: (the photo cannot be decoded|decoding the photo failed)"):
        read_untrusted(b"whatever")


def test_a_worker_that_takes_too_long_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "worker").write_text("#!/bin/sh\nexec sleep 600\n")
    (tmp_path / "worker").chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(tmp_path / "worker"))
    with pytest.raises(PhotoError, match=r"takes too long"):
        read_untrusted(bytes(10_000_000), Limits(seconds=0.3))  # more than the pipe holds
