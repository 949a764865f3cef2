"""The command line in a folder of the desk: what is remembered there need not be said."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import compare.jobs.check_dummy
from compare.cli import main
from compare.desk.project.project_file import Remembered
from compare.desk.project.project_folder import Project, open_project
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[Any]:
    """What the job is asked for."""
    out: list[Any] = []
    spec = spec_of(TWO_SIDED, tmp_path)
    inspection = inspection_of(profile_of(spec, {}), spec)

    def check(photos: Any, spec: Path, setup: Any, **more: Any) -> Any:
        out.append((spec, setup, more))
        return inspection

    monkeypatch.setattr(compare.jobs.check_dummy, "check", check)
    return out


@pytest.fixture
def project(tmp_path: Path) -> Project:
    home = tmp_path / "bench"
    home.mkdir()
    out = open_project(home)
    out.remember(Remembered(bars_mm=(150.2, 100.1), use="arch", rule="simple"))
    out.add_dummy("crane", TWO_SIDED)
    return out


def run(*args: str) -> Result:
    return CliRunner().invoke(main, list(args))


@pytest.mark.parametrize("inside", ["", "crane"])
def test_a_check_needs_no_option(
    project: Project, asked: list[Any], monkeypatch: pytest.MonkeyPatch, inside: str
) -> None:
    monkeypatch.chdir(project.root / inside)
    result = run("check", "photo.jpg")
    assert result.exit_code == 0, result.stderr
    ((spec, setup, more),) = asked
    assert spec == project.root / "crane" / "crane.toml"
    assert setup.bars_mm == (150.2, 100.1) and setup.use == "arch" and more["rule"] == "simple"
    assert result.stderr == (
        "From foldgauge.toml: --spec crane.toml, --bars 150.2,100.1, --use arch, --rule simple\n"
    )


def test_what_is_said_counts(project: Project, asked: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(project.root)
    assert run("check", "p.jpg", "--bars", "150,100", "--use", "auto", "--rule", "guarded").exit_code == 0
    ((_, setup, more),) = asked
    assert setup.bars_mm[:2] == (150.0, 100.0) and setup.use == "auto" and more["rule"] == "guarded"


def test_several_dummies_are_not_guessed(
    project: Project, asked: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    project.add_dummy("gate", TWO_SIDED)
    monkeypatch.chdir(project.root)
    result = run("check", "photo.jpg")
    assert result.exit_code == 2 and "crane, gate" in result.stderr and asked == []
    monkeypatch.chdir(project.root / "gate")
    assert run("check", "photo.jpg").exit_code == 0 and asked[0][0].name == "gate.toml"


def test_the_desk_in_no_folder_is_one_line(tmp_path: Path) -> None:
    result = run("desk", str(tmp_path / "nowhere"), "--no-browser")
    assert result.exit_code == 2 and result.stderr.count("\n") == 1 and "no folder" in result.stderr
