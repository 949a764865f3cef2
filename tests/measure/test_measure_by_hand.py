"""Joints pointed at by hand: the file, their place and uncertainty, and what they do to a profile."""

import io
import json
from pathlib import Path

import numpy as np
import pytest

from capture.camera.view import View
from capture.errors import FoldgaugeError
from capture.setup import Setup
from compare.jobs.check_dummy import Inspection, check
from compare.tell.check.check_json import inspection_dict
from compare.tell.check.check_terminal import print_findings
from compare.tell.words.photos.note_words import inspection_notes
from compare.tell.words.verdict_words import remark_words
from measure.guided.placement import place_by_joints
from measure.joints.by_hand import HAND, HAND_SD_PX, HandPoint, read_points, require_sound, with_hand_points
from measure.measure_errors import MeasureError
from measure.profile import Profile
from measure.reasons import Note, Noted, Unseen, WhyUnseen
from tests.capture.test_capture_scene import camera
from tests.helpers.drawn_dummy import dummy_layout

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
NAMES = ("inner foot right", "ridge")
UNMARKED = WhyUnseen(kind=Unseen.SPINE_UNMARKED)
XY = np.array([[12.0, -20.0], [1.0, 18.0]])


def view() -> View:
    return camera(eye=(20.0, 90.0, 620.0), f35_mm=50.0)


def profile() -> Profile:
    sources = {"edge fits": np.eye(4) * 0.1**2, "near ends": np.eye(4) * 0.07**2, "standoff": np.eye(4)}
    return Profile(
        joints=NAMES, xy_mm=XY, cov_mm2=sum(sources.values(), np.zeros((4, 4))), cov_by_source=sources,
        extra_arc_mm={}, panels=(), undetermined={"spine": UNMARKED}, standoff_mm=0.0,
    )  # fmt: skip


def at_pixel(v: View, xy: np.ndarray, joint: str, sd: float = HAND_SD_PX) -> HandPoint:
    px = v.project(np.array([[*xy, 0.0]]))[0]
    return HandPoint(joint=joint, x_px=float(px[0]), y_px=float(px[1]), sd_px=sd)


def with_points(*points: HandPoint) -> Profile:
    return with_hand_points(profile(), points, view(), near_end_sd_mm=0.5, standoff_err_mm=0.5)


def test_a_joint_not_found_is_added_and_no_longer_undetermined() -> None:
    out = with_points(at_pixel(view(), np.array([0.0, -20.2]), "spine"))
    assert out.joints == (*NAMES, "spine")
    assert out.at("spine") == pytest.approx([0.0, -20.2], abs=1e-6)
    assert out.undetermined == {}
    assert out.by_hand == {"spine": HAND_SD_PX}
    assert out.notes == ()
    assert out.cov_mm2 == pytest.approx(np.sum(list(out.cov_by_source.values()), axis=0))


def test_a_measured_joint_is_replaced_with_its_covariance_and_a_clash_is_told() -> None:
    out = with_points(at_pixel(view(), XY[1] + (2.0, 0.0), "ridge"))
    assert out.joints == NAMES
    assert out.at("ridge") == pytest.approx(XY[1] + (2.0, 0.0), abs=1e-6)
    assert np.all(out.cov_by_source["edge fits"][2:] == 0)
    assert np.all(out.cov_by_source["edge fits"][:2, :2] == np.eye(2) * 0.1**2)
    assert out.notes == (Note(kind=Noted.HAND_DIFFERS, names=("ridge",), mm=pytest.approx(2.0, abs=0.05)),)
    near = with_points(at_pixel(view(), XY[1] + (0.1, 0.0), "ridge"))
    assert near.notes == ()


def test_the_hand_s_covariance_is_that_of_a_trembling_hand() -> None:
    v, rng = view(), np.random.default_rng(5)
    point = at_pixel(v, np.array([40.0, 10.0]), "leg top right", sd=3.0)
    out = with_points(point)
    px = np.array([point.x_px, point.y_px]) + rng.normal(size=(20000, 2)) * 3.0
    seen = np.cov(v.to_plane(px).T)
    # 20000 draws fix a variance to 1 %; the plane is seen obliquely, so the two directions differ.
    assert out.cov_by_source[HAND][4:, 4:] == pytest.approx(seen, rel=0.05, abs=0.02 * float(np.trace(seen)))


def test_no_points_change_nothing() -> None:
    before = profile()
    assert with_hand_points(before, (), view(), near_end_sd_mm=0.5, standoff_err_mm=0.5) is before


def test_two_joints_place_a_layout_and_one_does_not() -> None:
    expected = dummy_layout()
    turn = np.deg2rad(3.0)
    rot = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    places = {j: rot @ expected.at(j) + (7.0, -90.0) for j in ("ridge", "leg top right")}
    (placed,) = place_by_joints([expected], places)
    assert placed.roll_rad == pytest.approx(turn)
    assert (placed.x_mm, placed.y_mm) == pytest.approx((7.0, -90.0))
    assert place_by_joints([expected], {"ridge": np.zeros(2)}) == []


def test_a_file_is_read_with_and_without_sd(tmp_path: Path) -> None:
    path = tmp_path / "joints.csv"
    path.write_text("joint,x,y,sd\nspine, 2012.5, 1480\n\nridge,2000,1100,4\n", encoding="utf-8")
    assert read_points(path) == (
        HandPoint(joint="spine", x_px=2012.5, y_px=1480.0),
        HandPoint(joint="ridge", x_px=2000.0, y_px=1100.0, sd_px=4.0),
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'the first line must be "joint,x,y"'),
        ("spine,20,30\n", 'the first line must be "joint,x,y"'),
        ("joint,x,y\n", "no joint under the header"),
        ("joint,x,y\nspine,20\n", r"line 2: 3 values are wanted \(joint and pixels\), got 2"),
        ("joint,x,y\nspine,20,north\n", "line 2: a number of pixels is wanted, got 'north'"),
        ("joint,x,y\nspine,20,nan\n", "line 2: a number of pixels is wanted, got 'nan'"),
        ("joint,x,y\nspine,20,\n", "line 2: a number of pixels is wanted, got ''"),
        ("joint,x,y,sd\nspine,20,30,0\n", r"line 2: sd of 0\.05 to 200 pixels is wanted, got 0"),
        ("joint,x,y\nspine,20,30\nspine,21,30\n", "line 3: 'spine' is there already"),
    ],
)
def test_a_bad_file_is_one_line(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "joints.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MeasureError, match=rf"joints\.csv.*{message}") as caught:
        read_points(path)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_picture_are_refused(tmp_path: Path) -> None:
    with pytest.raises(MeasureError, match="cannot be read"):
        read_points(tmp_path / "none.csv")
    (tmp_path / "p.csv").write_bytes(b"\xff\xd8\xff\xe0 not text")
    with pytest.raises(MeasureError, match="not UTF-8 text"):
        read_points(tmp_path / "p.csv")


def test_unknown_joints_and_points_outside_are_refused() -> None:
    allowed = ("spine", "ridge")
    with pytest.raises(MeasureError, match="unknown joint 'knee'; known here: spine, ridge"):
        require_sound([HandPoint(joint="knee", x_px=5, y_px=5)], allowed, (100, 50))
    with pytest.raises(MeasureError, match=r"'spine' at \(100, 5\) lies outside the photo \(100 x 50"):
        require_sound([HandPoint(joint="spine", x_px=100, y_px=5)], allowed, (100, 50))
    require_sound([HandPoint(joint="spine", x_px=99.4, y_px=0)], allowed, (100, 50))


@pytest.mark.photo
def test_the_spine_set_by_hand_tells_the_feet_apart(tmp_path: Path) -> None:
    truth = json.loads((SAMPLES / "short_leg.truth.json").read_text())
    path = tmp_path / "joints.csv"
    path.write_text("joint,x,y\nspine,{:.1f},{:.1f}\n".format(*truth["joints_px"]["spine"]))
    bars = truth["bars_read_mm"]
    without = check(SAMPLES / "short_leg.jpg", SAMPLES / "short_leg.toml", Setup(bars_mm=bars))
    assert "foot right" in without.findings.undetermined
    result = check(
        SAMPLES / "short_leg.jpg", SAMPLES / "short_leg.toml", Setup(bars_mm=bars), points=read_points(path)
    )
    lengths = {i.name: i for i in result.findings.lengths}
    for name in ("foot left", "foot right"):
        item = lengths[name]
        assert remark_words(item) == "by hand: spine"
        assert abs(item.measured - truth["lengths_mm"][name]) < item.expanded
    assert lengths["leg right"].remarks == ()
    assert "foot right (hand)" in text_of(result)
    assert inspection_dict(result)["by_hand"] == {"spine": {"sd_px": HAND_SD_PX}}
    assert inspection_notes(result)[0].startswith("Pointed at by hand: spine;")


def text_of(result: Inspection) -> str:
    out = io.StringIO()
    print_findings(result.findings, out, inspection_notes(result), full=True)
    return out.getvalue()


def test_points_go_with_one_photo(tmp_path: Path) -> None:
    with pytest.raises(FoldgaugeError, match="a list of points belongs to one photo"):
        check(
            [SAMPLES / "a.jpg", SAMPLES / "b.jpg"],
            SAMPLES / "short_leg.toml",
            points=[HandPoint(joint="spine", x_px=1.0, y_px=1.0)],
        )
