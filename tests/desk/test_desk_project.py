"""A folder as a project: what is remembered, checks that appear whole, nothing that leads out of it."""

import os
from datetime import date
from pathlib import Path

import pytest

from compare.desk.desk_errors import DeskError
from compare.desk.project.check_folder import Asked, Brought, refuse
from compare.desk.project.dummy_folder import DummyFolder, remove, slug_of
from compare.desk.project.project_file import Remembered, read_project_file, write_project_file
from compare.desk.project.project_folder import Project, open_project, project_around
from tests.helpers.made_profiles import TWO_SIDED

DAY = date(2026, 11, 28)


@pytest.fixture
def dummy(tmp_path: Path) -> DummyFolder:
    return open_project(tmp_path).add_dummy("The Gate House", TWO_SIDED)


def photo(folder: Path, content: bytes = b"\xff\xd8\xff photo", name: str = "IMG 1.jpg") -> Brought:
    path = folder / "upload"
    path.write_bytes(content)
    return Brought(name, path, ".jpg")


def test_memory_comes_back_as_it_was_written(tmp_path: Path) -> None:
    remembered = Remembered(
        units="in", language="de", rule="simple", bars_mm=(150.2, 100.1), use="arch", camera="my-phone.toml"
    )
    path = tmp_path / "foldgauge.toml"
    write_project_file(path, remembered)
    assert read_project_file(path) == remembered
    assert path.read_text(encoding="utf-8").startswith("# What foldgauge remembers")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("units = 'cm'", "units"), ("[sheet]\nbars = [150]", "bars"), ("[sheet]\nbars = [1, 2]", "bars"),
        ("[sheet]\nbars = ['a', 'b']", "bars"), ("sheet = 1", "sheet"), ("[camera]\nfile = '../x'", "camera"),
        ("[camera]\nfile = 7", "camera"), ("rule = [1]", "rule"), ("what is", "TOML"),
    ],
)  # fmt: skip
def test_a_spoilt_memory_is_one_line(tmp_path: Path, text: str, word: str) -> None:
    path = tmp_path / "foldgauge.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DeskError, match=word) as err:
        read_project_file(path)
    assert "\n" not in str(err.value)


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("The Gate House", "the-gate-house"), ("../../etc/passwd", "etc-passwd"), ("  ", "dummy"),
        ("漢字", "dummy"), ("CON<script>", "con-script"), ("x" * 300, "x" * 60), (".removed", "removed"),
    ],
)  # fmt: skip
def test_a_title_becomes_a_plain_name(title: str, name: str) -> None:
    assert slug_of(title, []) == name
    assert slug_of(title, [name.upper()]) == f"{name}-2"


def test_a_check_appears_whole_and_is_numbered(dummy: DummyFolder, tmp_path: Path) -> None:
    first = dummy.add_check([photo(tmp_path)], Asked(bars_mm=(150.2, 100.1)), DAY)
    second = dummy.add_check([photo(tmp_path, name="../evil\n.jpg")], Asked(), DAY)
    assert [c.name for c in dummy.checks()] == ["2026-11-28-2", "2026-11-28-1"]
    assert first.state == "waiting" and first.spec.read_text(encoding="utf-8") == TWO_SIDED
    assert sorted(p.name for p in second.folder.iterdir()) == ["asked.toml", "photo-1.jpg", second.spec.name]
    assert first.asked()["bars"] == [150.2, 100.1]
    ((name, path),) = second.photos()
    assert path.read_bytes() == b"\xff\xd8\xff photo" and name == "../evil\n.jpg"
    assert not [p for p in dummy.folder.iterdir() if p.name.startswith(".")]


def test_a_check_that_cannot_be_written_leaves_nothing(dummy: DummyFolder, tmp_path: Path) -> None:
    gone = Brought("a.jpg", tmp_path / "is not there", ".jpg")
    with pytest.raises(DeskError, match="cannot write"):
        dummy.add_check([gone], Asked(), DAY)
    assert dummy.checks() == [] and sorted(os.listdir(dummy.folder)) == [dummy.spec.name]


def test_a_later_design_leaves_an_old_check_alone(dummy: DummyFolder, tmp_path: Path) -> None:
    check = dummy.add_check([photo(tmp_path)], Asked(), DAY)
    dummy.save_spec(TWO_SIDED.replace("148.5", "150"))
    assert "148.5" in check.spec.read_text(encoding="utf-8")


def test_names_from_addresses_are_compared_and_never_joined(dummy: DummyFolder, tmp_path: Path) -> None:
    project = Project(tmp_path)
    dummy.add_check([photo(tmp_path)], Asked(), DAY)
    for name in ("..", ".", "", "the-gate-house/..", "the-gate-house/2026-11-28-1", "/etc"):
        assert project.dummy(name) is None
        assert dummy.check(name) is None


def test_what_is_taken_away_is_moved(dummy: DummyFolder, tmp_path: Path) -> None:
    check = dummy.add_check([photo(tmp_path)], Asked(), DAY)
    remove(tmp_path, check.folder)
    remove(tmp_path, dummy.folder)
    assert Project(tmp_path).dummies() == []
    kept = sorted(p.name.split("-", 3)[3] for p in (tmp_path / ".removed").iterdir())
    assert kept == ["the-gate-house", "the-gate-house-2026-11-28-1"]


def test_what_a_stop_left_is_found_again(dummy: DummyFolder, tmp_path: Path) -> None:
    checks = [dummy.add_check([photo(tmp_path)], Asked(), DAY) for _ in range(3)]
    refuse(checks[0].folder, "blurred")
    assert [c.name for c in Project(tmp_path).unfinished()] == ["2026-11-28-2", "2026-11-28-3"]
    assert checks[0].refusal() == "blurred"


def test_a_project_is_found_from_a_folder_inside_it(dummy: DummyFolder, tmp_path: Path) -> None:
    found = project_around(dummy.folder)
    assert found is not None and found.root == tmp_path.resolve()
    with pytest.raises(DeskError, match="no folder"):
        open_project(tmp_path / "nowhere")


def test_two_windows_at_once_get_a_check_each(
    dummy: DummyFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = dummy.add_check([photo(tmp_path)], Asked(), DAY)
    names = iter([first.name, first.name, "2026-11-28-2"])  # the other window was quicker, twice
    monkeypatch.setattr(DummyFolder, "_next_name", lambda self, today: next(names))
    assert dummy.add_check([photo(tmp_path)], Asked(), DAY).name == "2026-11-28-2"
    assert len(dummy.checks()) == 2
