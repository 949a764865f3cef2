"""foldgauge measure: a dummy without a spec, on sample photographs with known truth, and what is refused."""

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result

from capture.camera.view import View
from capture.photo import photo_of_array, read_photo
from capture.setup import Setup
from capture.sight.sighting import find_sheet
from compare.cli import main
from compare.compare_errors import OutputError
from compare.design.load_spec import load_spec
from compare.jobs import judge_dummy
from compare.jobs.check_dummy import check
from compare.jobs.measure_dummy import Tracing, measure
from compare.tell.draw.palette import PHOTO_WIDTH
from compare.tell.trace.starter_spec import draft_text, write_draft
from compare.tell.trace.trace_json import tracing_dict
from compare.tell.trace.trace_picture import traced_picture
from compare.tell.trace.trace_text import tracing_csv
from compare.tell.words.photos.traced_words import traced_headline
from measure.layout import Card
from measure.measure_errors import MeasureError
from measure.tracing.measure_untold import measure_untold

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, ["measure", *(str(a) for a in args)])


def one_line(result: Result) -> str:
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("foldgauge: ") and result.stderr.count("\n") == 1
    return result.stderr


@cache
def traced(name: str) -> tuple[Tracing, dict[str, Any]]:
    truth = json.loads((SAMPLES / f"{name}.truth.json").read_text())
    result = measure(SAMPLES / f"{name}.jpg", Setup(use=truth["use"], bars_mm=truth["bars_read_mm"]))
    return result, truth


@pytest.mark.photo
@pytest.mark.parametrize("name", ["short_leg", "good_arch", "propped", "asymmetric"])
def test_every_panel_is_traced_and_every_length_told_is_right(name: str) -> None:
    result, truth = traced(name)
    kinds = ("fold", "leg", "page spacing", "plane spacing")
    told = {f.name for f in result.lengths}
    assert {f"{k} {s}" for k in kinds for s in ("left", "right")} <= told
    assert told <= set(truth["lengths_mm"])  # nothing is invented
    for f in result.lengths:
        # The tool's aim is U; a trace without a spec may be a little worse, never wrong by a strip's width.
        assert abs(f.value - truth["lengths_mm"][f.name]) < max(1.5 * f.expanded, 0.6), f.name
    lean = {f.name: f.value for f in result.angles}
    for side, deg in truth["lean_deg"].items():
        assert lean[f"lean {side}"] == pytest.approx(deg, abs=0.7)


@pytest.mark.photo
def test_a_spread_propped_open_tells_its_opening_and_its_feet() -> None:
    result, truth = traced("propped")
    assert "propped open" in traced_headline(result)
    opening = next(f for f in result.angles if f.name == "opening")
    assert opening.value == pytest.approx(truth["opening_deg"], abs=0.5)
    told = {f.name for f in result.lengths}
    assert {"foot left", "foot right"} <= told and "feet" not in told


@pytest.mark.photo
def test_a_draft_is_a_spec_that_check_accepts_and_that_agrees_with_the_photo(tmp_path: Path) -> None:
    result, truth = traced("good_arch")
    path = tmp_path / "draft.toml"
    write_draft(result, path)
    spec = load_spec(path)
    assert spec.units == "mm"
    inspection = check(SAMPLES / "good_arch.jpg", path, Setup(bars_mm=truth["bars_read_mm"]))
    for item in inspection.findings.lengths:
        if not item.name.startswith(("page ", "foot ")) or item.name.startswith("page spacing"):
            assert abs(item.deviation) < max(item.expanded, 0.5), item.name


@pytest.mark.photo
def test_outputs_hold_the_same_figures(tmp_path: Path) -> None:
    result, _ = traced("short_leg")
    data = tracing_dict(result)
    assert data["lengths"]["leg right"]["measured"] == pytest.approx(38.0, abs=0.5)
    assert set(data["joints"]) == set(result.profile.joints)
    rows = list(csv.DictReader(tracing_csv(result).splitlines()))
    assert [r["name"] for r in rows if r["kind"] == "length"] == [f.name for f in result.lengths]
    assert float(rows[0]["measured"]) == pytest.approx(result.lengths[0].value, abs=1e-4)
    assert {b.name for b in result.budgets} == {f.name for f in result.lengths}
    for b, f in zip(result.budgets, result.lengths, strict=True):
        assert b.expanded == pytest.approx(f.expanded, rel=1e-6)
    picture = traced_picture(result)
    assert picture.shape[1:] == (PHOTO_WIDTH, 3)
    text = draft_text(result)
    assert "half of what lies between the feet" in text and "not measured: put in your own" in text


@pytest.mark.photo
def test_the_command_writes_its_files_and_prints(tmp_path: Path) -> None:
    names = [tmp_path / n for n in ("out.png", "out.csv", "draft.toml")]
    result = run(
        SAMPLES / "short_leg.jpg", "--annotate", names[0], "--csv", names[1], "--draft", names[2], "--budget"
    )
    assert result.exit_code == 0 and result.stderr == ""
    assert result.stdout.startswith("Traced: a spread lying flat with a parallel fold, a plane and 2 legs.")
    assert "Uncertainty budget" in result.stdout and "leg right" in result.stdout
    for name in names:
        assert name.stat().st_size > 100
    assert cv2.imread(str(names[0])) is not None


@pytest.mark.photo
def test_without_a_spec_the_craft_judges(monkeypatch: pytest.MonkeyPatch) -> None:
    result, _ = traced("short_leg")
    monkeypatch.setattr(judge_dummy, "measure", lambda *a, **k: result)
    photo = str(SAMPLES / "short_leg.jpg")
    told = CliRunner().invoke(main, ["check", photo])
    assert told.exit_code == 3 and told.stderr == ""
    assert told.stdout.startswith("The right half leans 2.4 degrees: leg right is 1.9 mm")
    assert "either make leg right anew" in told.stdout and "Knife: " in told.stdout
    told = CliRunner().invoke(main, ["check", photo, "--as", "oblique", "--json"])
    data = json.loads(told.stdout)
    assert told.exit_code != 0 and data["taken_for"] == "oblique" and data["pairs"] == {} == data["lean"]
    total = data["sums"]["closing sum right"]
    assert total["measured"] == pytest.approx(1.9, abs=0.4) and total["verdict"] == data["verdict"]


def test_what_only_a_spec_can_answer_is_refused_without_one(tmp_path: Path) -> None:
    for more, message in (
        (["--report", str(tmp_path / "r.html")], "--report: a spec is needed for this"),
        (["--closed", "c.jpg"], "--closed: a spec is needed for this"),
        (["b.jpg"], "more than one photo: a spec is needed for this"),
        (["--spec", "s.toml", "--as", "oblique"], "--as: a spec says what the dummy is"),
    ):
        assert message in one_line(CliRunner().invoke(main, ["check", "a.jpg", *more]))


@pytest.mark.photo
def test_a_joint_set_by_hand_is_marked(tmp_path: Path) -> None:
    truth = json.loads((SAMPLES / "short_leg.truth.json").read_text())
    path = tmp_path / "joints.csv"
    path.write_text("joint,x,y\nspine,{:.1f},{:.1f}\n".format(*truth["joints_px"]["spine"]))
    result = run(SAMPLES / "short_leg.jpg", "--points", path, "--json")
    assert result.exit_code == 0
    data = json.loads(result.stdout)
    assert data["by_hand"] == {"spine": {"sd_px": 1.5}}
    assert data["lengths"]["foot left"]["remark"] == "by hand: spine"
    assert data["lengths"]["foot left"]["measured"] == pytest.approx(
        truth["lengths_mm"]["foot left"], abs=0.5
    )
    path.write_text("joint,x,y\nknee,10,10\n")
    assert "unknown joint 'knee'; known here: spine, inner foot left" in one_line(
        run(SAMPLES / "short_leg.jpg", "--points", path)
    )


@pytest.mark.photo
def test_a_photo_without_a_dummy_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    photo = read_photo(SAMPLES / "short_leg.jpg")
    sighting = find_sheet(photo)
    from capture.camera.adjust import solve_view

    view: View = solve_view(photo, sighting, None)
    rng = np.random.default_rng(3)
    left, bottom, right, top = sighting.sheet.window
    corners = np.array([[left, bottom - 40, 0], [right, bottom - 40, 0], [right, top, 0], [left, top, 0]])
    empty = photo.bgr.copy()
    cv2.fillPoly(empty, [np.round(view.project(corners)).astype(np.int32)], (70, 66, 60))
    noisy = np.clip(empty + rng.normal(0, 2, empty.shape), 0, 255).astype(np.uint8)
    with pytest.raises(MeasureError, match="no dummy could be traced"):
        measure_untold(
            photo_of_array(noisy, name="empty.jpg"), view, sighting.sheet, Card(), arch=True,
            blur_px=sighting.blur_px,
        )  # fmt: skip


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (["--standoff", "-3"], "--standoff: 0 to 1000 mm is wanted, got -3"),
        (["--card", "50"], "--card: 0.02 to 10 mm is wanted, got 50"),
        (["--depth", "0"], "--depth: 0.5 to 1000 mm is wanted, got 0"),
        (["--draft", "spec.txt"], "--draft: a name that ends in .toml is wanted, got 'spec.txt'"),
        (["--annotate", "a.jpg"], "--annotate: a name that ends in .png is wanted"),
        (["--csv", "no/such/folder/a.csv"], "--csv: the folder no/such/folder does not exist"),
    ],
)
def test_bad_options_are_one_line(args: list[str], message: str) -> None:
    assert message in one_line(run("no.jpg", *args))


@pytest.mark.photo
def test_a_backdrop_needs_its_standoff() -> None:
    assert "give --standoff" in one_line(run(SAMPLES / "good_backdrop.jpg"))
    assert "--standoff belongs to backdrop use" in one_line(
        run(SAMPLES / "short_leg.jpg", "--use", "arch", "--standoff", "80")
    )


@pytest.mark.photo
def test_a_draft_that_makes_no_spec_leaves_no_file(tmp_path: Path) -> None:
    from dataclasses import replace

    result, _ = traced("short_leg")
    short = tuple(replace(f, value=5.0) if f.name.startswith("fold") else f for f in result.lengths)
    with pytest.raises(OutputError, match="no spec can be drafted from short_leg.jpg"):
        write_draft(replace(result, lengths=short), tmp_path / "draft.toml")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.photo
def test_another_construction_gets_plain_numbers_and_no_draft(tmp_path: Path) -> None:
    truth = json.loads((SAMPLES / "vfold.truth.json").read_text())
    result = measure(SAMPLES / "vfold.jpg", Setup(use=truth["use"], bars_mm=truth["bars_read_mm"]))
    assert "panels on a spread lying flat" in traced_headline(result)
    true = [np.array(xy) for xy in truth["joints_mm"].values()]
    for f in result.lengths:
        a, b = (result.profile.at(j) for j in result.traced.lengths[f.name])
        near = [min(true, key=lambda t: float(np.hypot(*(t - x)))) for x in (a, b)]
        assert f.value == pytest.approx(float(np.hypot(*(near[1] - near[0]))), abs=0.8), f.name
    with pytest.raises(OutputError, match="no construction with a name was recognised"):
        write_draft(result, tmp_path / "draft.toml")
    assert list(tmp_path.iterdir()) == []
