"""A killed process, a full disk, a folder that takes nothing: whole files or none, and one line."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from capture.errors import FoldgaugeError
from capture.files import PART, FileKind, write_whole
from compare.cli import main
from tests.helpers.made_profiles import TWO_SIDED, spec_of

ROOT = Path(__file__).resolve().parents[2]
NOTE = FileKind("a note", (".txt",), b"note")
SIZE = 200_000
KILLS = 30


def write_without_end(path: Path) -> None:
    """Write one whole file after the other to the same place."""
    for number in range(10**9):
        text = b"note" + bytes([number % 251]) * SIZE

        def slowly(part: Path, text: bytes = text) -> None:
            with part.open("wb") as file:
                for at in range(0, len(text), 20_000):
                    file.write(text[at : at + 20_000])
                    file.flush()

        write_whole(path, slowly, FoldgaugeError, NOTE)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_any_moment_a_file_is_whole_and_what_was_begun_goes(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    place = tmp_path / "note.txt"
    parts_left = 0
    for round_ in range(KILLS):
        child = os.fork()
        if child == 0:
            try:
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                write_without_end(place)
            finally:
                os._exit(1)
        time.sleep(rng.uniform(0.0, 0.03))
        os.kill(child, signal.SIGKILL if round_ % 2 else signal.SIGTERM)
        os.waitpid(child, 0)
        if place.exists():
            data = place.read_bytes()
            assert len(data) == SIZE + 4 and len(set(data[4:])) == 1
        parts_left += any(p.name.startswith(PART) for p in tmp_path.iterdir())
    assert parts_left > 0  # some were killed while they wrote
    write_whole(place, lambda part: part.write_bytes(b"note, the last"), FoldgaugeError, NOTE)
    assert [p.name for p in tmp_path.iterdir()] == ["note.txt"] and place.read_bytes() == b"note, the last"


@pytest.mark.skipif(os.name != "posix", reason="needs a limit on the size of files")
def test_a_full_disk_leaves_no_half_file(tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    command = (
        f"ulimit -f 8; {sys.executable} -m compare.cli design spread.toml --motion m.gif --picture p.svg"
    )
    done = subprocess.run(
        ["bash", "-c", command], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1, done.stderr
    assert b"cannot write" in done.stderr and b"File too large" in done.stderr and done.stdout == b""
    assert sorted(p.name for p in tmp_path.iterdir()) == ["spread.toml"]


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder that takes no files")
def test_a_folder_that_takes_no_files(tmp_path: Path) -> None:
    spec_of(TWO_SIDED, tmp_path)
    for args in (
        ["design", str(tmp_path / "spread.toml"), "--picture", "/proc/self/p.svg"],
        ["sheet", "-o", "/proc/self/s.pdf"],
        ["design", str(tmp_path / "spread.toml"), "--motion", str(tmp_path / "spread.toml" / "m.gif")],
    ):
        result = CliRunner().invoke(main, args)
        assert result.exit_code == 2 and result.stdout == ""
        assert result.stderr.startswith("foldgauge: ") and result.stderr.count("\n") == 1
