"""Nothing of the user's is written over: not an input, not a file that we did not write as that kind."""

import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from capture.errors import FoldgaugeError, SheetError
from capture.files import PART, FileKind, is_ours, sweep, write_whole
from compare.cli import main
from compare.lot.ledger.ledger import Ledger
from tests.helpers.made_profiles import TWO_SIDED, spec_of

TEXT = FileKind("a note", (".txt",), b"marked by us")


def run(*args: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


def refused(result: Result) -> str:
    assert result.exit_code == 2 and result.stdout == "" and result.stderr.count("\n") == 1, result.output
    return result.stderr


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    spec_of(TWO_SIDED, tmp_path)
    return tmp_path / "spread.toml"


def test_an_output_is_never_an_input_however_it_is_called(spec: Path, tmp_path: Path) -> None:
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"\x89PNG not looked at")
    (tmp_path / "link.png").symlink_to(photo)
    os.link(photo, tmp_path / "hard.png")
    here = Path(os.path.relpath(photo))
    for name in (photo, here, tmp_path / "link.png", tmp_path / "hard.png"):
        for force in ((), ("--force",)):
            told = refused(run("check", photo, "--spec", spec, "--annotate", name, *force))
            assert "is what is read; choose another name" in told
    assert photo.read_bytes() == b"\x89PNG not looked at"
    before = spec.read_bytes()
    told = refused(
        run("measure", photo, "--draft", tmp_path / "link.toml")
    )  # nothing there: the photo speaks
    assert "photo.png" in told
    (tmp_path / "link.toml").symlink_to(spec)
    assert "is there already and is meant to be worked on" in refused(run("measure", photo, "--draft", spec))
    camera = ("camera", photo, "-o", spec)
    assert "is not a camera file that foldgauge wrote" in refused(run(*camera))
    assert spec.read_bytes() == before


def test_two_outputs_are_two_files(spec: Path, tmp_path: Path) -> None:
    told = refused(
        run("design", spec, "--picture", tmp_path / "a.png", "--motion", tmp_path / "a.gif", "--template",
            tmp_path / "no" / "a.pdf")
    )  # fmt: skip
    assert "--template: the folder" in told and not list(tmp_path.glob("a.*"))


def test_only_what_we_wrote_as_that_kind_gives_way(spec: Path, tmp_path: Path) -> None:
    outputs = {"--picture": ("p.svg", "p.png"), "--motion": ("m.gif", "m.html"), "--template": ("t.pdf",)}
    for option, names in outputs.items():
        for name in names:
            place = tmp_path / name
            place.write_bytes(b"mine")
            told = refused(run("design", spec, option, place))
            assert "that foldgauge wrote; choose another name, or say --force to replace it" in told
            assert place.read_bytes() == b"mine"
            assert run("design", spec, option, place, "--force").exit_code == 0
            first = place.read_bytes()
            assert first != b"mine"
            assert run("design", spec, option, place).exit_code == 0  # now it is known again
    # a picture is no annotated photo, and a page with a slider no report
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"x")
    for option, name in (("--annotate", "p.png"), ("--report", "m.html")):
        told = refused(run("check", photo, "--spec", spec, option, tmp_path / name))
        assert "foldgauge wrote" in told
    sheet = tmp_path / "sheet.pdf"
    assert run("sheet", "-o", sheet).exit_code == run("sheet", "-o", sheet).exit_code == 0
    assert "not a calibration board" in refused(run("sheet", "--board", "-o", sheet))
    assert "ends in .pdf" in refused(run("sheet", "-o", photo))


def test_the_ledger_is_not_exported_over_itself(tmp_path: Path) -> None:
    ledger = tmp_path / "l.csv"
    with Ledger(ledger):
        pass
    before = ledger.read_bytes()
    assert "is what is read" in refused(run("lot", "export", ledger, "--ledger", ledger))
    assert ledger.read_bytes() == before
    out = tmp_path / "o.csv"
    assert run("lot", "export", out, "--ledger", ledger).exit_code == 0
    assert run("lot", "export", out, "--ledger", ledger).exit_code == 0
    out.write_text("my,own,table\n")
    refused(run("lot", "export", out, "--ledger", ledger))
    assert out.read_text() == "my,own,table\n"


def write(path: Path, text: str, **options: bool) -> None:
    write_whole(path, lambda p: p.write_text(text), SheetError, TEXT, **options)


def test_written_whole_with_the_users_own_permissions(tmp_path: Path) -> None:
    place = tmp_path / "n.txt"
    old = os.umask(0o027)
    try:
        write(place, "marked by us, 1")
    finally:
        os.umask(old)
    assert place.stat().st_mode & 0o777 == 0o640
    write(place, "marked by us, 2")
    assert place.read_text().endswith("2")

    def fail(path: Path) -> None:
        path.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(SheetError, match="cannot write .*n.txt: No space left on device"):
        write_whole(place, fail, SheetError, TEXT)
    assert place.read_text().endswith("2") and [p.name for p in tmp_path.iterdir()] == ["n.txt"]
    link = tmp_path / "l.txt"
    link.symlink_to(place)
    write(link, "marked by us, 3")
    assert link.is_symlink() and place.read_text().endswith("3")
    place.write_text("mine now")
    for name in (place, link):
        with pytest.raises(FoldgaugeError, match="is not a note that foldgauge wrote"):
            write(name, "marked by us, 4")
    write(place, "marked by us, 5", replace=True)
    assert is_ours(place, TEXT)
    with pytest.raises(SheetError, match="cannot write"):
        write(tmp_path / ("x" * 300 + ".txt"), "marked by us")


def test_what_a_killed_run_left_is_swept(tmp_path: Path) -> None:
    child = os.fork()
    if child == 0:
        os._exit(0)
    os.waitpid(child, 0)
    dead = tmp_path / f"{PART}{child}-00ff.png"
    alive = tmp_path / f"{PART}{os.getpid()}-00ff.png"
    other = tmp_path / ".foldgauge-notes"
    for path in (dead, alive, other):
        path.write_bytes(b"half")
    sweep(tmp_path)
    assert not dead.exists() and alive.exists() and other.exists()
