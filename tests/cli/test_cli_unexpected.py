"""However a run ends: one line, no traceback, and nothing of the user's in the file for us."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

import compare.jobs.check_dummy
from capture.printable import name_of, printable
from compare.cli import main
from tests.helpers.made_profiles import TWO_SIDED, spec_of

ROOT = Path(__file__).resolve().parents[2]


def shell(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    env = {**os.environ, "PYTHONPATH": str(ROOT), "FG": f"{sys.executable} -m compare.cli", **more}
    return subprocess.run(
        ["bash", "-c", command], cwd=folder, capture_output=True, env=env, timeout=120, check=False
    )


def test_an_error_of_ours_is_one_line_and_a_file_without_names(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*args: object, **options: object) -> None:
        secret = "secret-of-the-user"
        raise ZeroDivisionError(secret)

    monkeypatch.setattr(compare.jobs.check_dummy, "check", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    photo, spec = tmp_path / "private-photo.jpg", tmp_path / "private.toml"
    result = CliRunner().invoke(main, ["check", str(photo), "--spec", str(spec), "--rule=simple"])
    assert result.exit_code == 1 and result.stdout == "" and result.stderr.count("\n") == 1
    found = re.search(r"please send us (\S+) \(it holds no photo", result.stderr)
    assert found and "ZeroDivisionError" in result.stderr
    text = Path(found[1]).read_text(encoding="utf-8")
    assert "error: ZeroDivisionError" in text and "command: check --spec --rule" in text
    assert "compare/commands/check.py" in text and "numpy" in text
    assert "private" not in text and "secret-of" not in text.replace('secret = "secret-of-the-user"', "")


def test_no_memory_is_told_as_such(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def greedy(*args: object, **options: object) -> None:
        raise MemoryError

    monkeypatch.setattr(compare.jobs.check_dummy, "check", greedy)
    result = CliRunner().invoke(main, ["check", "x.jpg", "--spec", "x.toml"])
    assert result.exit_code == 1 and "not enough memory" in result.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
@pytest.mark.parametrize("where", [">/dev/full", ">&-", "2>&- >&-", "| true"])
def test_an_answer_nobody_can_take(where: str, tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    done = shell(f"set -o pipefail; $FG design spread.toml {where}", tmp_path)
    assert done.returncode in (0, 2)
    assert b"Traceback" not in done.stderr and b"Exception ignored" not in done.stderr
    if where == ">/dev/full":
        assert done.returncode == 2 and b"cannot be printed: No space left" in done.stderr


def test_names_steer_no_terminal(tmp_path: Path) -> None:
    assert printable("a\x1b[31mred\x07\nb") == "a?[31mred? b"
    assert printable("Zoë \u2028x\x9b0m") == "Zoë  x?0m"
    assert name_of(os.fsdecode(b"/x/caf\xe9.jpg")) == "caf?.jpg"
    name = "e\x1b[2J\x1b]0;owned\x07.toml"
    spec_of(TWO_SIDED, tmp_path)
    (tmp_path / "spread.toml").rename(tmp_path / name)
    for args in (["design", str(tmp_path / name)], ["design", str(tmp_path / "no\x1b[2J.toml")]):
        result = CliRunner().invoke(main, args)
        assert "\x1b" not in result.output and "\x07" not in result.output


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_names_that_are_no_text(encoding: str, tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    os.rename(os.fsencode(tmp_path / "spread.toml"), os.fsencode(tmp_path) + b"/caf\xe9.toml")
    done = shell("$FG design caf*.toml", tmp_path, PYTHONIOENCODING=encoding, LC_ALL="C")
    assert done.returncode == 0 and b"Traceback" not in done.stderr, done.stderr
    done = shell("$FG check caf*.toml --spec caf*.toml", tmp_path, PYTHONIOENCODING=encoding, LC_ALL="C")
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1 and b"Traceback" not in done.stderr
