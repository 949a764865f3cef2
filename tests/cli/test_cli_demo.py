"""The demo, as a newcomer runs it: a real photo file, the whole line, the right verdict, a picture."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from compare.cli import main
from compare.jobs.demo_sample import demo_files


@pytest.mark.photo
def test_demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["demo"])
    assert result.exit_code == 0 and result.stderr == ""
    first = result.stdout.splitlines()[0]
    assert first.startswith("The right half leans 2.") and "leg right is" in first and "mm short." in first
    assert result.stdout.splitlines()[-1].endswith("short_leg.annotated.png")
    names = {p.name for p in tmp_path.iterdir()}
    assert names == {"short_leg.annotated.png", "short_leg.report.html"}
    assert first in (tmp_path / "short_leg.report.html").read_text(encoding="utf-8")
    picture = np.array(Image.open(tmp_path / "short_leg.annotated.png"))
    assert picture.shape[1] == 1600 and picture.std() > 30


def test_the_wheel_carries_what_the_demo_wants() -> None:
    """pyproject.toml lists them by name; the names must be the demo's."""
    text = (Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8")
    for path in demo_files():
        assert f'"sample_images/{path.name}"' in text and path.is_file()
