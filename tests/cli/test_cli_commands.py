"""The command line: exit codes, one line per mistake, results on stdout and trouble on stderr."""

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import compare.jobs.check_dummy
from capture.errors import PhotoError
from capture.sheet.printer_file import read_printer
from compare.cli import main
from compare.tell.help.topics import TOPICS
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import ONE_SIDED, TWO_SIDED, profile_of, spec_of

DEMO = Path(__file__).resolve().parents[2] / "sample_images" / "short_leg.jpg"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


def one_line(result: Result) -> str:
    """The single line of a refused command; nothing on stdout, no traceback, exit code 2."""
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("foldgauge: ") and result.stderr.count("\n") == 1
    return result.stderr


@pytest.fixture
def faked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    """Put made-up profiles in the place of photographs."""

    def put(faults: Mapping[str, float]) -> tuple[Path, Path]:
        spec = spec_of(TWO_SIDED, tmp_path)
        inspection = inspection_of(profile_of(spec, faults), spec)
        monkeypatch.setattr(compare.jobs.check_dummy, "check", lambda *a, **k: inspection)
        return tmp_path / "dummy.jpg", tmp_path / "spread.toml"

    return put


@pytest.mark.parametrize(
    ("faults", "code", "word"),
    [
        ({}, 0, "Conforms: "),
        ({"leg right": -1.9}, 3, "The right half leans 1.9 degrees: leg right is 1.9 mm short."),
        ({"leg right": -0.75}, 4, "Too close to call: "),
    ],
)
def test_exit_codes(faked: Any, faults: Mapping[str, float], code: int, word: str) -> None:
    photo, spec = faked(faults)
    result = run("check", photo, "--spec", spec)
    assert result.exit_code == code
    assert result.stdout.startswith(word) and result.stderr == ""
    result = run("check", photo, "--spec", spec, "--json")
    assert result.exit_code == code and result.stderr == ""
    assert json.loads(result.stdout)["answer"].startswith(word)


def test_annotate(faked: Any, tmp_path: Path) -> None:
    photo, spec = faked({"leg right": -1.9})
    result = run("check", photo, "--spec", spec, "--annotate", tmp_path / "out.png")
    assert result.exit_code == 3 and (tmp_path / "out.png").stat().st_size > 10_000


def test_bars_are_remembered_after_success_only(
    faked: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    photo, spec = faked({})
    printer = tmp_path / "office.toml"
    good = ("check", photo, "--spec", spec, "--bars", "150.3,99.5", "--printer", printer)
    one_line(run(*good, "--annotate", tmp_path / "no" / "o.png"))
    (tmp_path / "taken.png").mkdir()
    one_line(run(*good, "--annotate", tmp_path / "taken.png"))
    assert not printer.exists()
    assert run(*good).exit_code == 0
    assert read_printer(printer).bars == {"a4": (150.3, 99.5, 0.1)}
    before = printer.read_bytes()
    monkeypatch.undo()
    # As it was: these bars are refused, and yet the file held them afterwards.
    bad = ("--bars", "150.3,102.5", "--printer", printer)
    for command in (("check", DEMO, "--spec", DEMO.with_suffix(".toml")), ("measure", DEMO)):
        assert "check bar" in one_line(run(*command, *bad))
        assert printer.read_bytes() == before
    other = tmp_path / "notes.toml"
    other.write_text("title = 'mine'")
    told = one_line(run("check", photo, "--spec", spec, "--bars", "150.3,99.5", "--printer", other))
    assert "notes.toml is not a printer file; choose another name for --printer" in told


def test_annotate_into_nowhere(faked: Any, tmp_path: Path) -> None:
    photo, spec = faked({})
    assert "does not exist" in one_line(
        run("check", photo, "--spec", spec, "--annotate", tmp_path / "no" / "o.png")
    )
    assert "ends in .png" in one_line(run("check", photo, "--spec", spec, "--annotate", tmp_path / "o.jpg"))
    (tmp_path / "taken.png").mkdir()
    assert "cannot write" in one_line(
        run("check", photo, "--spec", spec, "--annotate", tmp_path / "taken.png")
    )


def test_errors_of_the_photo_are_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(*args: object, **options: object) -> None:
        raise PhotoError("x.jpg: too dark;\n  use more light")

    monkeypatch.setattr(compare.jobs.check_dummy, "check", refuse)
    assert "too dark; use more light" in one_line(
        run("check", tmp_path / "x.jpg", "--spec", tmp_path / "s.toml")
    )


def test_bad_input(tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    spec = tmp_path / "spread.toml"
    assert "no photo at x.jpg" in one_line(run("check", "x.jpg"))  # without a spec, too
    assert "No such command 'chek'" in one_line(run("chek"))
    assert "--paper" in one_line(run("sheet", "--paper", "a5"))
    assert "s.toml: the spec cannot be read" in one_line(run("check", "x.jpg", "--spec", tmp_path / "s.toml"))
    assert "x.jpg" in one_line(run("check", tmp_path / "x.jpg", "--spec", spec))
    assert "two lengths in mm" in one_line(run("check", "x.jpg", "--spec", spec, "--bars", "150"))
    assert "two lengths in mm" in one_line(run("check", "x.jpg", "--spec", spec, "--bars", "150,a"))
    assert "--standoff" in one_line(run("check", "x.jpg", "--spec", spec, "--standoff", "-3"))
    assert "--use" in one_line(run("check", "x.jpg", "--spec", spec, "--use", "tunnel"))
    (tmp_path / "bad.toml").write_text(TWO_SIDED.replace("leg = 40", "leg = -40", 1))
    assert "line 13, [left] leg" in one_line(run("check", "x.jpg", "--spec", tmp_path / "bad.toml"))
    text = tmp_path / "photo.jpg"
    text.write_text("not a picture")
    assert "photo.jpg: not a" in one_line(run("check", text, "--spec", spec))
    assert "does not exist" in one_line(run("sheet", "-o", tmp_path / "none" / "s.pdf"))


def test_design(tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    result = run("design", tmp_path / "spread.toml")
    assert result.exit_code == 0 and result.stderr == ""
    assert result.stdout.splitlines()[0].endswith("Every matched pair agrees, it shuts flat and clear.")
    assert "38.16" in result.stdout and "47.57" in result.stdout  # ridge at 180 and 90 degrees
    bad = tmp_path / "oblique.toml"
    bad.write_text(ONE_SIDED.replace("leg = 40", "leg = 38"))
    result = run("design", bad)
    assert result.exit_code == 3 and "Change [" in result.stdout.splitlines()[0]
    assert "first jams at" in result.stdout and "-2.02" in result.stdout


def test_sheet(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    result = run("sheet", "-o", out, "--paper", "letter")
    assert result.exit_code == 0 and out.read_bytes().startswith(b"%PDF") and "100 %" in result.stdout


HEAVY = (
    "cv2", "scipy", "skimage", "matplotlib", "numpy", "PIL", "rich", "reportlab", "sqlalchemy", "joblib",
    "starlette", "uvicorn", "segno",
    "jinja2",
)  # fmt: skip


@pytest.mark.parametrize("args", [["--help"], ["check", "--help"], ["lot", "check", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(args: list[str]) -> None:
    code = (
        "import sys\n"
        "from compare.cli import main\n"
        f"try:\n    main({args!r})\n"
        "except SystemExit as stop:\n    assert not stop.code, stop.code\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "foldgauge" in done.stdout or "Usage" in done.stdout


def test_import_is_light_and_check_is_there() -> None:
    code = (
        "import sys, compare\n"
        "assert 'cv2' not in sys.modules and 'numpy' not in sys.modules\n"
        "from compare import check\n"
        "assert callable(check) and check.__module__ == 'compare.jobs.check_dummy'\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        compare.chek  # type: ignore[attr-defined]  # noqa: B018


def test_bare_command_shows_its_help_in_full() -> None:
    bare, asked = CliRunner().invoke(main, []), CliRunner().invoke(main, ["--help"])
    assert bare.exit_code == 0 and bare.output.strip() == asked.output.strip() and "check" in bare.output


@pytest.mark.parametrize("name", TOPICS)
def test_every_topic_is_told(name: str) -> None:
    told = CliRunner().invoke(main, ["help", name])
    assert told.exit_code == 0 and told.stdout.startswith("# ") and len(told.stdout) > 300
    assert "](" not in told.stdout  # links and pictures are no use on a terminal
    assert f"  {name} " in CliRunner().invoke(main, ["help"]).stdout


def test_unknown_topic_names_the_known_ones() -> None:
    told = CliRunner().invoke(main, ["help", "glue"])
    assert told.exit_code == 2 and "'photo'" in told.stderr
