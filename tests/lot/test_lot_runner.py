"""The runner: every photo once, bad ones told, stopped runs going on, other machines."""

import os
import pickle
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

import compare.lot.run.runner
import compare.lot.run.sample_job
from capture.errors import PhotoError
from capture.files import FileBytes
from capture.setup import Setup
from compare.compare_errors import LotError
from compare.design.load_spec import load_spec
from compare.lot.ledger.ledger import Ledger
from compare.lot.run.checking import Checking
from compare.lot.run.manifest import Lot, read_lot
from compare.lot.run.runner import Run, Tally, run_lot
from compare.lot.run.sample_job import Job, Outcome, run_job
from compare.lot.run.samples import load_samples
from compare.lot.run.unused_photos import Relabelled, SameFile
from compare.tell.lot.ledger_telling import TO_LEDGER
from compare.tell.words.lots.unused_words import unused_words
from compare.verdict.conformity import Rule

FERRY = Path(__file__).resolve().parents[2] / "sample_images" / "lot_ferry"
SPEC = FERRY / "ferry.toml"
CHECKING = Checking(setup=Setup(bars_mm=(150.3, 99.9)), telling=TO_LEDGER)

photo = pytest.mark.photo


def few_photos(folder: Path) -> Path:
    """Two photos of one sample (of two, in truth: they disagree a little), one of another, and a bad one."""
    folder.mkdir()
    for source, target in (("ferry_01", "1_a"), ("ferry_03", "1_b"), ("ferry_14", "2_a")):
        shutil.copy(FERRY / f"{source}.jpg", folder / f"{target}.jpg")
    (folder / "3_a.jpg").write_bytes(b"\xff\xd8 not a picture")
    return folder


@pytest.fixture
def few(tmp_path: Path) -> Path:
    return few_photos(tmp_path / "few")


@dataclass(frozen=True)
class Measured:
    """The few photos, and one of them twice, measured once for all tests: folder, ledger, run, tallies."""

    folder: Path
    ledger: Path
    run: Run
    tallies: list[Tally]


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    place = tmp_path_factory.mktemp("measured")
    folder = few_photos(place / "few")
    shutil.copy(folder / "2_a.jpg", folder / "4_a.jpg")
    seen: list[Tally] = []
    with Ledger(place / "l.sqlite") as ledger:
        done = run(lot_of(folder), ledger, workers=2, tell=seen.append)
    return Measured(folder, place / "l.sqlite", done, seen)


def again(measured: Measured, place: Path) -> tuple[Path, Path]:
    """Copies of the folder and of the ledger, for a test to change."""
    shutil.copytree(measured.folder, place / "few")
    shutil.copy(measured.ledger, place / "l.sqlite")
    return place / "few", place / "l.sqlite"


def run(lot: Lot, ledger: Ledger, **options: Any) -> Run:
    return run_lot(lot, load_spec(SPEC), CHECKING, ledger, **options)


def lot_of(folder: Path) -> Lot:
    return read_lot(folder, naming="{sample}_{shot}")


@photo
def test_every_sample_once_and_not_again(
    measured: Measured, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = measured.run
    assert (first.checked, first.known) == (3, 0) and first.problems == [("4_a.jpg", SameFile("2_a.jpg"))]
    assert measured.tallies[-1] == Tally(done=3, known=0, total=3, bad=2)
    folder, book = again(measured, tmp_path)
    with Ledger(book) as ledger:
        one, two, three = load_samples(ledger, list(first.keys))
        assert one.photos == ("1_a.jpg", "1_b.jpg")
        assert len(one.readings["leg left"].alone) == 2 and two.readings["leg left"].alone == ()
        assert two.readings["leg left"].deviation == pytest.approx(-0.9, abs=0.3)
        assert 0 < two.readings["leg left"].common < two.readings["leg left"].u and two.unseen == ()
        assert three.verdict is None
        ((name, reason),) = three.refused
        assert name == "3_a.jpg" and reason.startswith("not a JPEG")
        same = run(lot_of(folder), ledger)
        assert (same.checked, same.known, ledger.count()) == (0, 3, 3) and list(same.keys) == list(first.keys)
        # other settings are another inspection: handed to the workers again
        handed = Outcome(status="refused", reason="asked again")
        monkeypatch.setattr(
            compare.lot.run.runner, "_in_processes", lambda jobs, workers: ((i, handed) for i in jobs)
        )
        other = run_lot(lot_of(folder), load_spec(SPEC), replace(CHECKING, rule=Rule.SIMPLE), ledger)
        assert other.checked == 3 and ledger.count() == 6


@photo
def test_a_bad_photo_among_good_ones_of_a_sample_is_dropped(few: Path) -> None:
    job = Job(photos=(few / "2_a.jpg", few / "3_a.jpg"), spec=load_spec(SPEC), checking=CHECKING)
    outcome = run_job(job)
    assert outcome.status == "checked" and [name for name, _ in outcome.dropped] == ["3_a.jpg"]


@photo
def test_known_samples_follow_the_manifest(measured: Measured, tmp_path: Path) -> None:
    folder, book = again(measured, tmp_path)
    with Ledger(book) as ledger:
        (folder / "manifest.csv").write_text("sample,photo,die\nlast,2_a.jpg,B\n")
        second = run(read_lot(folder), ledger)
        assert second.checked == 0 and ledger.count() == measured.run.checked
        (sample,) = load_samples(ledger, list(second.keys))
        assert (sample.name, sample.labels) == ("last", {"die": "B"})
        third = run_lot(Lot(name="other", shots=read_lot(folder).shots, missing=(), notes=()),
                        load_spec(SPEC), CHECKING, ledger)  # fmt: skip
        assert third.notes == [Relabelled(1, "few", "other")]


def test_a_bug_costs_one_photo(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def broken(*args: object) -> None:
        raise ZeroDivisionError("by\nnothing")

    monkeypatch.setattr(compare.lot.run.sample_job, "_check", broken)
    outcome = run_job(Job(photos=(tmp_path / "x.jpg",), spec=load_spec(SPEC), checking=CHECKING))
    assert outcome.status == "failed"
    assert unused_words(outcome.reason) == (
        "x.jpg: an error inside foldgauge (ZeroDivisionError: by nothing); please report it"
    )


def test_photos_sent_as_bytes_do_not_overwrite_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two folders, one file name: as on a cluster, where no disk is shared."""
    seen: list[bytes] = []

    def refuse(job: Job, photos: Sequence[Path | FileBytes]) -> None:
        seen.extend(p.data for p in photos if isinstance(p, FileBytes))
        raise PhotoError("x.jpg: no")

    monkeypatch.setattr(compare.lot.run.sample_job, "_check_one", refuse)
    photos = (FileBytes("x.jpg", b"one"), FileBytes("x.jpg", b"two"))
    job = pickle.loads(pickle.dumps(Job(photos=photos, spec=load_spec(SPEC), checking=CHECKING)))
    assert run_job(job).status == "refused"
    assert seen[:2] == [b"one", b"two"]


CRASH = """
import os, sys
sys.path.insert(0, {root!r})
from pathlib import Path
import compare.lot.run.runner as runner
from compare.lot.run.sample_job import Job, Outcome
from tests.helpers.made_lots import CHECKING

def crash(number, job, parent):
    if job.photos[0].name == "deadly.jpg":
        os.kill(os.getpid(), 9)
    return number, Outcome(status="refused", reason=job.photos[0].name)

runner._in_worker = crash
if __name__ == "__main__":
    names = ["a.jpg", "b.jpg", "deadly.jpg", "c.jpg", "d.jpg", "e.jpg", "f.jpg"]
    jobs = {{i: Job(photos=(Path(n),), spec=None, checking=CHECKING) for i, n in enumerate(names)}}
    for number, outcome in sorted(runner._in_processes(jobs, 2)):
        print(number, outcome.status, outcome.reason)
"""


def test_a_photo_that_kills_its_worker_is_the_only_one_lost() -> None:
    root = str(Path(__file__).resolve().parents[2])
    code = CRASH.format(root=root)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    lines = done.stdout.splitlines()
    assert len(lines) == 7 and sum("refused" in x for x in lines) == 6
    assert lines[2] == "2 failed WorkerDied(photos='deadly.jpg')"


def command(folder: Path, ledger: Path, *more: str) -> list[str]:
    return [
        sys.executable, "-m", "compare.cli", "lot", str(folder), "--spec", str(SPEC), "--ledger", str(ledger),
        "--bars", "150.3,99.9", "--no-report", *more,
    ]  # fmt: skip


def finished(ledger: Path) -> list[str]:
    with closing(sqlite3.connect(ledger)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [r[0] for r in raw.execute("select sample from inspection order by place")]


def interrupt(
    ledger: Path, folder: Path, how: Callable[[subprocess.Popen[str]], None]
) -> subprocess.Popen[str]:
    """Start a run, and stop it when the first sample is told to be done."""
    root = Path(__file__).resolve().parents[2]
    process = subprocess.Popen(
        command(folder, ledger), cwd=root, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        start_new_session=True,
    )  # fmt: skip
    assert process.stderr is not None
    assert "1 of " in process.stderr.readline()
    how(process)
    return process


def workers_of(session: int) -> Iterator[int]:
    """Processes of a session that are still alive (Linux)."""
    for place in Path("/proc").glob("[0-9]*"):
        try:
            fields = (place / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == session and fields[0] != "Z":
            yield int(place.name)


def left_alive(session: int, seconds: float = 20.0) -> list[int]:
    """Workers that outlive their parent by so long: one that was told to end may still be ending."""
    end = time.monotonic() + seconds
    while (alive := list(workers_of(session))) and time.monotonic() < end:
        time.sleep(0.1)
    return alive


@photo
def test_stopped_by_hand_and_gone_on(tmp_path: Path) -> None:
    folder = tmp_path / "ferry"
    folder.mkdir()
    for k in range(1, 8):
        shutil.copy(FERRY / f"ferry_{k:02d}.jpg", folder)
    ledger = tmp_path / "l.sqlite"

    def ctrl_c(process: subprocess.Popen[str]) -> None:
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the parent and to all workers

    process = interrupt(ledger, folder, ctrl_c)
    out, err = process.communicate(timeout=120)
    assert process.returncode == 130 and out == ""
    assert "The same command goes on from there" in err and "Traceback" not in err
    assert not left_alive(process.pid)
    before = finished(ledger)
    assert 1 <= len(before) < 7

    def kill(process: subprocess.Popen[str]) -> None:
        os.killpg(process.pid, signal.SIGKILL)

    interrupt(ledger, folder, kill).communicate(timeout=120)
    middle = finished(ledger)
    assert set(before) < set(middle)
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        command(folder, ledger, "--json"), cwd=root, capture_output=True, text=True, timeout=300
    )
    assert done.returncode in (0, 3, 4), done.stderr
    assert finished(ledger) == [f"ferry_{k:02d}" for k in range(1, 8)]


@photo
@pytest.mark.parametrize(("how", "code"), [(signal.SIGTERM, 143), (signal.SIGKILL, -9)])
def test_no_worker_outlives_its_parent(how: signal.Signals, code: int, tmp_path: Path) -> None:
    folder = tmp_path / "ferry"
    folder.mkdir()
    for k in range(1, 8):
        shutil.copy(FERRY / f"ferry_{k:02d}.jpg", folder)
    ledger = tmp_path / "l.sqlite"
    process = interrupt(ledger, folder, lambda p: os.kill(p.pid, how))  # the parent alone
    _, err = process.communicate(timeout=120)
    assert process.returncode == code and "Traceback" not in err
    if how is signal.SIGTERM:
        assert "The same command goes on from there" in err
    end = time.monotonic() + 30
    while list(workers_of(process.pid)) and time.monotonic() < end:
        time.sleep(0.2)
    assert not list(workers_of(process.pid))
    assert len(finished(ledger)) >= 1


@photo
def test_on_a_cluster(measured: Measured, tmp_path: Path) -> None:
    """The same run on a real Dask scheduler with workers in processes of their own."""
    distributed = pytest.importorskip("distributed", reason="Dask is not installed (foldgauge[cluster])")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50,
        local_directory=str(tmp_path / "dask"),
    )  # fmt: skip
    with cluster, Ledger(tmp_path / "l.sqlite") as ledger:
        there = run(lot_of(measured.folder), ledger, scheduler=cluster.scheduler_address)
        assert there.checked == 3
        far = {s.name: s for s in load_samples(ledger, list(there.keys))}
    folder, book = again(measured, tmp_path)
    with Ledger(book) as ledger:
        here = run(lot_of(folder), ledger)
        near = {s.name: s for s in load_samples(ledger, list(here.keys))}
    assert here.checked == 0 and far == near


def test_a_scheduler_that_is_not_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(compare.lot.run.runner, "SCHEDULER_WAIT", "1s")
    jobs = {0: Job(photos=(tmp_path / "x.jpg",), spec=load_spec(SPEC), checking=CHECKING)}
    with pytest.raises(LotError, match="no scheduler answers at tcp://127.0.0.1:9"):
        next(compare.lot.run.runner._on_scheduler(jobs, "tcp://127.0.0.1:9"))
