"""The screens, with made-up dummies in place of photos: every path a visitor takes, and what is kept."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from compare.desk.project.check_folder import CheckFolder
from compare.desk.words.advice_text import CHANGES, photo_advice
from compare.desk.words.catalogue import catalogue
from tests.desk.fake_desk import OpenDesk, open_desk
from tests.helpers.made_profiles import TWO_SIDED


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[OpenDesk]:
    out = open_desk(tmp_path)
    yield out
    out.client.__exit__()


@pytest.fixture
def crane(desk: OpenDesk) -> str:
    return desk.project.add_dummy("crane", TWO_SIDED).name


def last(desk: OpenDesk) -> CheckFolder:
    return desk.project.dummies()[0].checks()[0]


def shown(desk: OpenDesk, path: str) -> str:
    answer = desk.client.get(path)
    assert answer.status_code == 200, answer.text
    return str(answer.text)


def test_an_empty_folder_says_what_comes_first(desk: OpenDesk) -> None:
    text = shown(desk, "/")
    assert text.index("Print the marker sheet") < text.index("Measure its two check bars")
    assert "Check the sample dummy" in text


def test_from_a_construction_to_a_dummy_on_the_bench(desk: OpenDesk) -> None:
    assert "Plane on a fold and two legs" in shown(desk, "/new")
    form = shown(desk, "/new/two-legs")
    base = re.search(r'<textarea name="text" hidden[^>]*>(.*?)</textarea>', form, re.DOTALL)
    assert base is not None
    typed = {"text": base[1].replace("&#34;", '"'), "by": "fields", "f:title": "Gate <b>house</b>"}
    bad = desk.post("/new/two-legs", {**typed, "do": "save", "f:right.page_spacing": "400"})
    assert bad.status_code == 422 and 'class="wrong"' in bad.text and "beyond the page" in bad.text
    assert desk.project.dummies() == []
    nonsense = desk.post("/look", {**typed, "f:right.leg": "4o"})
    assert 'data-place="right.leg"' in nonsense.text
    fine = desk.post("/new/two-legs", {**typed, "do": "save", "f:right.leg": "40,0"}, follow_redirects=False)
    assert fine.status_code == 303
    (dummy,) = desk.project.dummies()
    assert 'title = "Gate <b>house</b>"' in dummy.spec.read_text(encoding="utf-8")
    assert "Gate &lt;b&gt;house" in shown(desk, "/")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_construction_begins_sound(desk: OpenDesk, units: str) -> None:
    desk.post("/set-up", {"units": units})
    for name in re.findall(r'href="/new/([a-z-]+)"', shown(desk, "/new")):
        text = shown(desk, f"/new/{name}")
        assert 'role="alert"' not in text and 'class="hint"' not in text, name


def test_a_photo_is_measured_and_answered(desk: OpenDesk, crane: str) -> None:
    desk.pool.faults = {"leg right": -1.9}
    answer = desk.bring(crane, name="IMG 7.jpg")
    assert answer.status_code == 200
    check = last(desk)
    assert check.state == "done" and check.photos()[0][0] == "IMG 7.jpg"
    text = shown(desk, f"/dummies/{crane}/{check.name}")
    assert "The right half leans 1.9 degrees: " in text
    assert "Knife:" in text and 'data-joint="ridge"' in text
    told = json.loads((check.folder / "check.json").read_text(encoding="utf-8"))
    assert told["verdict"] == "does not conform"
    for name, kind in (
        ("report.html", "text/html"),
        ("picture.jpg", "image/jpeg"),
        ("check.json", "application/json"),
    ):
        file = desk.client.get(f"/dummies/{crane}/{check.name}/{name}")
        assert file.status_code == 200 and file.headers["content-type"].startswith(kind)
    policy = desk.client.get(f"/dummies/{crane}/{check.name}/report.html").headers["content-security-policy"]
    assert policy.startswith("sandbox") and "allow-same-origin" not in policy


def test_before_and_after_says_what_changed(desk: OpenDesk, crane: str) -> None:
    for leg in (-1.9, -0.2):
        desk.pool.faults = {"leg right": leg}
        desk.bring(crane)
    text = shown(desk, f"/dummies/{crane}")
    assert "leg right: +1.7 mm" in text and "lean of the right half: -1.9° before, now -0.2°" in text
    assert text.count('class="row"') == 2


def test_a_refused_photo_says_why_and_what_to_do(desk: OpenDesk, crane: str) -> None:
    desk.pool.refusal = "IMG.jpg: no marker sheet is seen"
    desk.bring(crane)
    text = shown(desk, f"/dummies/{crane}/{last(desk).name}")
    assert "no marker sheet is seen" in text and "Take another photo" in text
    assert "could not be measured" in shown(desk, f"/dummies/{crane}")


@pytest.mark.parametrize(
    ("kind", "word"), [("died", "broke off"), ("time", "too long"), ("KeyError", "KeyError")]
)
def test_a_worker_that_breaks_refuses_this_photo_only(
    desk: OpenDesk, crane: str, kind: str, word: str
) -> None:
    desk.pool.broken = kind
    desk.bring(crane)
    assert word in last(desk).refusal()
    desk.pool.broken = ""
    desk.bring(crane)
    assert last(desk).state == "done"


def test_a_stop_in_the_middle_is_made_good_at_the_next_start(tmp_path: Path) -> None:
    first = open_desk(tmp_path)
    first.project.add_dummy("crane", TWO_SIDED)
    first.bring("crane")
    check = last(first)
    first.client.__exit__()
    for path in check.folder.glob("*.json"):
        path.unlink()  # as if it had been killed while measuring
    again = open_desk(tmp_path)
    shown(again, "/")
    assert check.state == "done"
    again.client.__exit__()


def test_set_up_is_remembered_and_used(desk: OpenDesk, crane: str) -> None:
    bad = desk.post("/set-up", {"bar_across": "150.2", "bar_up": ""})
    assert 'role="alert"' in bad.text
    fine = desk.post("/set-up", {"bar_across": "150,2", "bar_up": "100.1", "rule": "simple", "use": "arch"})
    assert fine.status_code == 200 and 'value="150.2"' in fine.text
    desk.bring(crane)
    asked = last(desk).asked()
    assert asked["bars"] == [150.2, 100.1] and asked["rule"] == "simple" and asked["use"] == "arch"


def test_a_joint_kept_is_a_new_check_with_its_point(desk: OpenDesk, crane: str) -> None:
    desk.bring(crane)
    first = last(desk)
    points = json.dumps([["leg top right", 1500.0, 700.5]])
    desk.post(f"/dummies/{crane}/{first.name}/keep", {"points": points})
    second = last(desk)
    assert second.name != first.name and first.state == "done"
    assert (second.folder / "points.csv").read_text(encoding="utf-8").splitlines() == [
        "joint,x,y", '"leg top right",1500.00,700.50',
    ]  # fmt: skip
    for wrong in ("{}", "[[1, 2, 3]]", '[["ridge", 1e999, 0]]', '[["a\\"b", 1, 2]]', "[[", "[" * 5000):
        answer = desk.post(f"/dummies/{crane}/{first.name}/keep", {"points": wrong})
        assert answer.status_code == 400


def test_taking_away_moves(desk: OpenDesk, crane: str) -> None:
    desk.bring(crane)
    desk.post(f"/dummies/{crane}/{last(desk).name}/take-away")
    assert desk.project.dummies()[0].checks() == []
    desk.post(f"/dummies/{crane}/take-away")
    assert desk.project.dummies() == [] and len(list((desk.project.root / ".removed").iterdir())) == 2


@pytest.mark.parametrize("path", ["/dummies/none", "/dummies/crane/2026-01-01-1", "/sheet/a9.pdf", "/new/x"])
def test_what_is_not_there_is_said(desk: OpenDesk, crane: str, path: str) -> None:
    answer = desk.client.get(path)
    assert answer.status_code == 404 and "There is nothing here" in answer.text


def test_files_of_a_dummy(desk: OpenDesk, crane: str) -> None:
    assert desk.client.get(f"/dummies/{crane}/template.pdf").content.startswith(b"%PDF-")
    svg = desk.client.get(f"/dummies/{crane}/cut.svg")
    assert 'id="cut"' in svg.text and 'id="mountain"' in svg.text and re.search(r'width="[\d.]+mm"', svg.text)
    assert desk.client.get("/sheet/a4.pdf").content.startswith(b"%PDF-")


def test_a_spec_that_was_spoilt_by_hand_is_told_and_can_be_mended(desk: OpenDesk, crane: str) -> None:
    dummy = desk.project.dummies()[0]
    dummy.spec.write_text("[base\npage = ", encoding="utf-8")
    for path in ("/", f"/dummies/{crane}", f"/dummies/{crane}/spec"):
        answer = desk.client.get(path)
        assert "TOML" in answer.text and answer.status_code in (200, 422)
    desk.post(f"/dummies/{crane}/spec", {"by": "text", "text": TWO_SIDED, "do": "save"})
    assert dummy.spec.read_text(encoding="utf-8") == TWO_SIDED


def test_every_weakness_has_one_thing_to_change() -> None:
    words = catalogue("en")
    for kind in CHANGES:
        weak: dict[str, Any] = {"kind": kind, "strong": True, "amount": 1.0}
        told = photo_advice({"name": "a.jpg", "sheet": True, "sill": True, "weak": [weak]}, words)
        assert told.change == words(f"change.{kind}") and told.css == "unsure"
        mild = photo_advice(
            {"name": "a.jpg", "sheet": True, "sill": True, "weak": [{**weak, "strong": False}]}, words
        )
        assert mild.change.startswith("Better still: ") and mild.css == "good"
    clean = photo_advice({"name": "a.jpg", "sheet": True, "sill": True, "weak": []}, words)
    assert clean.css == "good" and all(g.css == "good" for g in clean.glances)
