"""Specs, manifests, points, camera and printer files that are anything but what they should be."""

import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture.camera.calibrated_camera import Camera
from capture.camera.camera_file import read_camera, to_text
from capture.errors import FoldgaugeError
from capture.files import FileBytes
from capture.sheet.printer_file import read_printer
from compare.compare_errors import SpecError
from compare.design.constructions.registry import FORMS
from compare.design.load_spec import load_spec
from compare.design.spec.tidy import tidy_text
from compare.lot.run.manifest import read_lot
from compare.lot.study.photo_study import read_table
from measure.joints.by_hand import read_points
from tests.helpers.attack_texts import edited, invented
from tests.helpers.one_line import assert_one_line

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
SPECS = [path.read_text(encoding="utf-8") for path in sorted(SAMPLES.glob("*.toml"))]
CAMERA = to_text(
    Camera(
        name="c.toml", model="m", focal_35_mm=26.0, focal_mm=5.1, size=(4000, 3000), rms_px=0.2, n_photos=9,
        params=np.array([8.0, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]), cov=np.diag(np.full(8, 1e-6)),
    )
)  # fmt: skip
FILES: dict[str, tuple[str, Callable[[Path], object]]] = {
    "points": ("joint,x,y,sd\nspine,2000,1400.5,2\nridge left,1200.25,900,\n", read_points),
    "camera": (CAMERA, read_camera),
    "printer": ("a4 = [150.2, 100.1, 0.1]\nletter = [140, 95]\n", read_printer),
    "manifest": (
        "sample,photo,time,die\n1,a.jpg,2031-04-05T10:00,left\n1,b.jpg,,\n2,c.jpg,x,y\n",
        lambda path: read_lot(path.parent, path),
    ),
    "table": (
        "sample,person,leg left\n1,Wren,40.1\n1,Finch,40.2\n2,Wren,39.9\n",
        lambda path: read_table(path, "person"),
    ),
}

few = settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@few
@given(raw=st.sampled_from(SPECS).flatmap(edited) | invented(FORMS) | st.binary(max_size=60))
def test_a_spec_is_read_or_refused_in_one_line(raw: bytes, tmp_path: Path) -> None:
    try:
        spec = load_spec(FileBytes("s.toml", raw))
    except SpecError as err:
        assert_one_line(err)
        assert "s.toml" in str(err)
    else:  # what is taken can be assembled, and its lengths are lengths
        assert all(0 <= v < 2000 for v in spec.lengths().values())
        (tmp_path / "s.toml").write_bytes(raw)
        tidy = tidy_text(tmp_path / "s.toml", FORMS)
        assert tomllib.loads(tidy) == tomllib.loads(raw.decode("utf-8-sig"))


@pytest.mark.parametrize("kind", FILES)
@few
@given(data=st.data())
def test_other_files_are_read_or_refused_in_one_line(kind: str, data: st.DataObject, tmp_path: Path) -> None:
    text, read = FILES[kind]
    for name in "abc":
        (tmp_path / f"{name}.jpg").touch()
    read_from(tmp_path / "f.csv", text.encode(), read)  # as it should be
    raw = data.draw(edited(text) | st.binary(max_size=60))
    try:
        read_from(tmp_path / "f.csv", raw, read)
    except FoldgaugeError as err:
        assert_one_line(err)
        assert "f.csv" in str(err)


def read_from(path: Path, raw: bytes, read: Callable[[Path], object]) -> None:
    path.write_bytes(raw)
    read(path)
    assert path.read_bytes() == raw
