"""Disturbed photos, by seed: read or refused in one line; what is read, the sheet is found in or refused."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pillow_heif import from_pillow

from capture.errors import FoldgaugeError
from capture.files import FileBytes
from capture.photo import read_photo
from capture.sight.sighting import find_sheet
from tests.helpers.attack_photos import disturbed
from tests.helpers.one_line import assert_one_line

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
ROUNDS = {"JPEG": 30, "progressive": 30, "PNG": 15, "TIFF": 15, "HEIC": 15}
SHEETS = 1
"""In so many of the photos that pass the sheet is looked for."""


def small_photo(kind: str) -> bytes:
    """A whole photo of a dummy before its sheet, 1.1 megapixels, as a file."""
    with Image.open(SAMPLES / "phone" / "ferry.jpg") as photo:
        picture = photo.convert("RGB").resize((1240, 930))
    out = io.BytesIO()
    match kind:
        case "HEIC":
            from_pillow(picture).save(out, quality=60, enc_params={"preset": "ultrafast"})
        case "progressive":
            picture.save(out, "JPEG", quality=85, progressive=True)
        case "TIFF":
            picture.convert("L").save(out, kind, compression="tiff_lzw")
        case "PNG":
            picture.convert("L").save(out, kind, compress_level=1)
        case _:
            picture.save(out, kind, quality=85)
    return out.getvalue()


@pytest.mark.parametrize("kind", ROUNDS)
def test_a_disturbed_photo_is_read_or_refused_in_one_line(
    kind: str, capfd: pytest.CaptureFixture[str]
) -> None:
    data = small_photo(kind)
    rng = np.random.default_rng(len(kind))
    looked = 0
    for _ in range(ROUNDS[kind]):
        how, bad = disturbed(data, rng)
        try:
            photo = read_photo(FileBytes("p.jpg", bad))
            if looked < SHEETS:
                looked += 1
                find_sheet(photo)
        except FoldgaugeError as err:
            assert_one_line(err)
    out, err_text = capfd.readouterr()
    assert "Traceback" not in out + err_text
