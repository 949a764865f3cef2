"""What the user sees: first line, tables, JSON, the annotated picture."""

import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from compare.compare_errors import OutputError
from compare.tell.check.annotated_photo import GROUND, annotated, write_annotated
from compare.tell.check.check_json import findings_dict, inspection_dict, to_text
from compare.tell.check.check_terminal import print_findings
from compare.tell.check.laid_over import design_joints
from compare.tell.check.photo_marks import frame_of, marks_of
from compare.tell.draw.labels import Label, place_labels
from compare.tell.draw.marks import Box, Line, Plate, text_size
from compare.tell.words.answer import also, answer
from compare.units import INCH, MM
from compare.verdict.findings import compare_profile
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of


def printed(
    text: str, faults: dict[str, float], tmp_path: Path, missing: tuple[str, ...] = (), *, full: bool = True
) -> str:
    spec = spec_of(text, tmp_path)
    stream = io.StringIO()
    profile = profile_of(spec, faults, missing=missing)
    print_findings(inspection_of(profile, spec).findings, stream, ["a note"], "dummy.jpg", full=full)
    return stream.getvalue()


def test_the_answer_is_the_first_line(tmp_path: Path) -> None:
    out = printed(TWO_SIDED, {"leg right": -1.9}, tmp_path)
    assert out.splitlines()[0] == "The right half leans 1.9 degrees: leg right is 1.9 mm short."
    row = next(line for line in out.splitlines() if line.strip().startswith("leg right"))
    assert row.split()[2:] == ["40.00", "38.10", "0.17", "-1.90", "±0.80", "does", "not", "conform"]
    assert "Knife:" in out and "toy-safety" in out  # a cut is told, so is the caution
    assert "prop the spread open" in out and "unmarked base" in out and "A note" in out
    assert "\x1b" not in out  # no colour codes where there is no terminal
    assert "-0.00" not in out.replace("+-0.00", "")


def test_short_form_says_what_to_do_before_any_table_and_fits_60_columns(tmp_path: Path) -> None:
    out = printed(TWO_SIDED, {"leg right": -1.9}, tmp_path, full=False)
    lines = out.splitlines()
    todo = lines.index("What to do")
    table = next(i for i, line in enumerate(lines) if line.startswith("Not as designed"))
    assert todo == 2 and table > todo and "1. Make a new strip for leg right" in lines[3]
    assert "as asked for: 9" in lines[4] and "100 %" not in out  # never quite sure
    assert "a note" not in out.lower() and "--full" in out
    assert not any(line.strip().startswith("leg left ") for line in lines)  # what conforms is counted only

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    spec = spec_of(TWO_SIDED, tmp_path)
    for full in (False, True):
        stream = Terminal()
        findings = inspection_of(profile_of(spec, {"leg right": -1.9}), spec).findings
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("COLUMNS", "60")
            patch.setenv("TERM", "xterm")
            print_findings(findings, stream, ["a note"], "dummy.jpg", full=full)
        shown = re.sub(r"\x1b\[[0-9;]*m", "", stream.getvalue())
        assert max(map(len, shown.splitlines())) <= 60
        assert "…" not in shown


def test_a_doubt_says_what_would_decide(tmp_path: Path) -> None:
    for faults, decides in (
        ({"page spacing left": -0.9}, "measuring page spacing left by hand would decide most"),
        ({"leg right": -0.75}, "laying the strips against each other would decide"),
    ):
        first = printed(TWO_SIDED, faults, tmp_path).splitlines()[0]
        assert first.startswith("Too close to call: ") and decides in first
        assert "level within" not in first


def test_no_knife_where_nothing_is_cut(tmp_path: Path) -> None:
    assert "Knife:" not in printed(TWO_SIDED, {"page spacing right": 2.0}, tmp_path)
    assert "What to do\n  - Nothing to do.\n" in printed(TWO_SIDED, {}, tmp_path)


def test_inches_are_shown_as_inches(tmp_path: Path) -> None:
    text = (
        "units = 'in'\n[base]\npage = 6\n[fold]\nleft = 1.5\nright = 1.5\nfoot_left = 0.5\nfoot_right = 0.5\n"
    )
    text += "[right]\nleg = 1.5\npage_spacing = 2\nplane_spacing = 2\n[plane]\nright = 2.5\n"
    out = printed(text, {"leg right": -2.54}, tmp_path)
    assert "leg right is 3/32 in short" in out.splitlines()[0]
    assert "Lengths, in" in out
    row = next(line for line in out.splitlines() if line.strip().startswith("leg right"))
    assert row.split()[2:4] == ["1.500", "1.400"]
    assert INCH.number(25.4) == "1.000" and MM.signed(-0.004) == "+0.00"


def test_json_structure(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    data = json.loads(to_text(inspection_dict(inspection_of(profile_of(spec, {"leg right": -1.9}), spec))))
    assert data["answer"].startswith("The right half leans 1.9 degrees")
    assert data["verdict"] == "does not conform"
    leg = data["lengths"]["leg right"]
    assert (
        leg["nominal"] == 40
        and leg["measured"] == pytest.approx(38.1)
        and leg["verdict"] == "does not conform"
    )
    assert leg["U"] == pytest.approx(2 * 0.06 * 2**0.5, abs=1e-5) and leg["limits"] == [-0.8, 0.8]
    assert data["lean"]["right"]["contributions"][0]["length"] == "leg right"
    assert data["clearance"]["left"]["limits"][1] is None
    assert data["diagnosis"]["causes"][0]["name"] == "leg right"
    assert data["diagnosis"]["causes"][0]["named"] is True
    assert "foot left" in data["undetermined"] and "foot left" in data["assumed"]
    assert data["photo"]["sha256"] == "0" * 64 and len(data["spec"]["sha256"]) == 64
    assert set(data["versions"]) == {"foldgauge", "numpy", "opencv", "python"}
    assert list(data)[:3] == ["answer", "also", "verdict"]
    assert data["angles"]["opening"]["measured"] == pytest.approx(180)
    assert set(data["angles"]["opening"]) == {"nominal", "measured", "U", "deviation"}


@pytest.mark.parametrize("text", [TWO_SIDED, ONE_SIDED, ASYMMETRIC])
@pytest.mark.parametrize("spine", [False, True])
def test_json_never_holds_nan(tmp_path: Path, text: str, spine: bool) -> None:
    spec = spec_of(text, tmp_path)
    for missing in ((), ("leg top right",), ("plane edge right",), ("inner foot right",)):
        profile = profile_of(spec, {"fold left": 0.9}, spine=spine, missing=missing)
        json.loads(to_text(inspection_dict(inspection_of(profile, spec))))  # dumps with allow_nan=False


def test_everything_prints_with_joints_missing(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    joints = profile_of(spec, spine=True).joints
    for joint in joints:
        inspection = inspection_of(profile_of(spec, {"leg left": 1.2}, spine=True, missing=(joint,)), spec)
        stream = io.StringIO()
        print_findings(inspection.findings, stream)
        assert stream.getvalue().splitlines()[0].endswith(".")
        assert annotated(inspection).shape[1] == 1600


def test_annotated_picture(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    inspection = inspection_of(profile_of(spec, {"leg right": -1.9}), spec)
    out = tmp_path / "out.png"
    write_annotated(inspection, out)
    picture = np.array(Image.open(out))
    assert picture.shape[1] == 1600 and picture.dtype == np.uint8
    assert tuple(picture[3, 3]) == GROUND[inspection.verdict]
    for colour in ((230, 159, 0), (86, 180, 233), (213, 94, 0)):  # measured, design, fault
        assert np.count_nonzero(np.all(picture == colour, axis=2)) > 500
    assert [p.name for p in tmp_path.glob("*.png")] == ["out.png"]


def test_design_lies_on_the_page_line_and_the_feet(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    inspection = inspection_of(profile_of(spec, {"page spacing right": 3.0}), spec)
    design = design_joints(inspection)
    for joint in ("inner foot left", "inner foot right", "outer foot left", "ridge"):
        assert design[joint] == pytest.approx(inspection.profile.at(joint), abs=1e-9)
    gap = np.hypot(*(design["outer foot right"] - inspection.profile.at("outer foot right")))
    assert gap == pytest.approx(3.0, abs=1e-9)


def test_picture_that_cannot_be_written(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    inspection = inspection_of(profile_of(spec), spec)
    with pytest.raises(OutputError, match=r"cannot write .*nowhere.*choose another"):
        write_annotated(inspection, tmp_path / "nowhere" / "out.png")
    (tmp_path / "taken.png").mkdir()
    with pytest.raises(OutputError, match="cannot write"):
        write_annotated(inspection, tmp_path / "taken.png")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["spread.toml", "taken.png"]


def test_labels_keep_clear_of_each_other() -> None:
    line = (np.array([100.0, 300.0]), np.array([900.0, 300.0]))
    labels = [
        Label(
            f"length {i}\n60.00 ±0.17", np.array([150.0 + 60 * i, 300.0]), np.array([0.0, -1.0]), 1.0, False
        )
        for i in range(6)
    ]
    placed = place_labels(labels, Box(0, 0, 1000, 600), [line])
    assert len(placed) == 6
    for i, p in enumerate(placed):
        w, _ = text_size(p.label.text, p.label.size)
        assert p.box.x1 - p.box.x0 >= w
        assert p.box.outside(Box(0, 0, 1000, 600)) < 1e-6  # rounding of the area
        assert not p.box.y0 < 300 < p.box.y1  # no label on the line
        for q in placed[:i]:
            assert p.box.overlap(q.box) == 0


def test_a_plate_keeps_off_the_dummy_and_a_number_may_lie_on_it() -> None:
    dummy = np.array([[200.0, 200.0], [800.0, 200.0], [800.0, 400.0], [200.0, 400.0]])
    spot, up = np.array([500.0, 390.0]), np.array([0.0, -1.0])
    fault = Label("leg right\n-1.81 ±0.17", spot, up, loud=True)
    (plate,) = place_labels([fault], Box(0, 0, 1000, 600), [], dummy)
    assert plate.box.overlap(Box(200, 200, 800, 400)) == 0
    (number,) = place_labels([Label("7", spot, up, number=True)], Box(0, 0, 1000, 600), [], dummy)
    assert (
        Box(200, 200, 800, 400).overlap(number.box) > 0 and np.hypot(*np.diff(number.leader, axis=0)[0]) < 30
    )


def test_the_photo_marks_what_is_off_by_more_than_its_doubt_and_numbers_the_rest(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    sure = inspection_of(profile_of(spec, {"leg right": -1.9}), spec)
    frame = frame_of(sure)
    marks = marks_of(sure, frame, 900)
    assert [m.title for m in marks.faults if isinstance(m, Line)] == ["leg right, at fault"]
    assert not marks.listed  # what conforms has no label at all
    plates = [m.text.split("\n")[0] for m in marks.labels if isinstance(m, Plate)]
    assert sorted(plates) == ["lean right", "leg right"]
    vague = inspection_of(profile_of(spec, {"leg right": -1.9}, noise=1.0), spec)
    marks = marks_of(vague, frame_of(vague), 900)
    assert not marks.faults and len(marks.listed) > 5  # U is larger than anything that is off
    assert [x.number for x in marks.listed] == list(range(1, len(marks.listed) + 1))


def test_a_closed_photo_stands_beside_what_the_lengths_predict(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    profile = profile_of(spec, {"plane right": 8.0}, spine=True)
    told = compare_profile(
        profile, spec, seen_shut={"right fore edge": (1.6, 0.2), "left fore edge": (2.0, 0.2)}
    )
    assert answer(told).startswith("Shut, card sticks out 2.0 mm past the left fore edge and 1.6 mm past the")
    assert {i.name: i.measured for i in told.clearances} == {"clearance left": -2.0, "clearance right": -1.6}
    assert any("They differ by 8.5 mm" in line for line in also(told))
    assert not any("right fore edge (closed photo" in line for line in also(told))
    data = findings_dict(told)["overhang"]
    assert data["right fore edge"]["agrees"] and not data["left fore edge"]["agrees"]
    stream = io.StringIO()
    print_findings(told, stream, full=True)
    assert "Shut, card lies 1.6 mm beyond the right fore edge (closed photo, ± 0.4 mm)" in stream.getvalue()


def test_what_to_measure_by_hand_is_said(tmp_path: Path) -> None:
    out = printed(TWO_SIDED, {"leg right": -0.75}, tmp_path)
    assert "Measure leg right with a steel rule: 39.20 to 40.80 mm is allowed" in out
    assert "a second photo from another place helps" in out
    assert "Measure by hand" in printed(TWO_SIDED, {}, tmp_path, missing=("plane edge right",))
