"""Lots: speed over single-process, memory per worker, ledger speed, kill -9 at random moments, and verdicts.

    python tests/benchmarks/bench_lots.py speed [PHOTOS]     # 12-MP photos; default 40
    python tests/benchmarks/bench_lots.py ledger [ROWS]      # default 100,000
    python tests/benchmarks/bench_lots.py kill [TIMES]       # default 20
    python tests/benchmarks/bench_lots.py simulate [LOTS]    # lots of 24 by simulation; default 200

Times mean nothing on a busy machine: every figure is a ratio to something timed in the same run.
"""

import json
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from sqlalchemy import insert  # noqa: E402

import compare.lot.run.runner as runner  # noqa: E402
from compare.design.load_spec import load_spec  # noqa: E402
from compare.lot.ledger.ledger import Ledger  # noqa: E402
from compare.lot.ledger.ledger_entry import readings_of  # noqa: E402
from compare.lot.ledger.ledger_tables import INSPECTION, READING  # noqa: E402
from compare.lot.lot_advice import AdviceKind  # noqa: E402
from compare.lot.run.sample_job import Job, Outcome, run_job  # noqa: E402
from compare.tell.lot.lot_history import history_page, read_history  # noqa: E402
from compare.verdict.conformity import Verdict  # noqa: E402
from tests.helpers.made_lots import CHECKING, result_of  # noqa: E402
from tests.helpers.made_profiles import TWO_SIDED, spec_of  # noqa: E402
from tests.helpers.simulated_lots import LENGTHS, Shown, Simulated, pieces, simulate, two_sided  # noqa: E402

PHOTOS = ("good_arch", "short_leg", "dark_card", "crease_off", "asymmetric", "dim_light")


def watched(number: int, job: Job, parent: int) -> tuple[int, Outcome]:
    """Check a photo; the reason tells process, largest memory so far (MB) and processor time (s)."""
    begin = time.process_time()
    outcome = run_job(job, parent)
    used = time.process_time() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told = f"{os.getpid()} {peak:.0f} {used:.3f}"
    return number, Outcome(status=outcome.status, reason=told, seconds=outcome.seconds)


def speed(count: int) -> None:
    """Compare one worker with one per processor in turns, and print the memory each worker took.

    On a busy machine the ratio of times is what the others leave; the processor time per photo shows whether
    the workers hinder each other, which is all that can spoil the rate of an idle one.
    """
    samples = ROOT / "sample_images"
    jobs = {}
    for i in range(count):
        name = PHOTOS[i % len(PHOTOS)]
        photo = samples / f"{name}.jpg"
        jobs[i] = Job(photos=(photo,), spec=load_spec(samples / f"{name}.toml"), checking=CHECKING)
    runner._in_worker = watched
    workers = runner.cores()
    list(runner._in_processes({k: jobs[k] for k in list(jobs)[: 2 * workers]}, workers))  # imports done
    wall, used = {1: 0.0, workers: 0.0}, {1: 0.0, workers: 0.0}
    peaks: dict[str, list[float]] = {}
    block = len(PHOTOS)
    for first in range(0, count, block):
        part = {k: jobs[k] for k in range(first, min(first + block, count))}
        for n in (1, workers):
            begin = time.perf_counter()
            for _, outcome in runner._in_processes(part, n):
                process, peak, seconds = outcome.reason.split()
                peaks.setdefault(process, []).append(float(peak))
                used[n] += float(seconds)
            wall[n] += time.perf_counter() - begin
    for n in (1, workers):
        print(
            f"{n} worker(s): {count} photos of 12 MP in {wall[n]:.1f} s; "
            f"processor time {used[n] / count:.3f} s per photo"
        )
    for process, values in peaks.items():
        print(
            f"worker {process}: {len(values)} photos, memory {max(values):.0f} MB at most, "
            f"{values[len(values) // 2]:.0f} half way"
        )
    load = os.getloadavg()[0]
    print(f"rate with {workers} workers over rate with one: {wall[1] / wall[workers]:.2f} (load {load:.1f})")
    free = workers * used[1] / used[workers]
    print(f"the same from processor times (as on idle processors): {free:.2f}")


def fill(ledger: Ledger, place: Path, rows: int) -> int:
    """Put inspections with `rows` readings into a ledger, in lots of 50; return how many."""
    spec = spec_of(TWO_SIDED, place)
    rng = np.random.default_rng(1)
    base = readings_of(result_of(spec, {}, rng))
    count = -(-rows // len(base))
    wear = -0.3 * np.maximum(np.arange(count) - 0.6 * count, 0) / (0.4 * count)
    with ledger.writing() as connection:
        for first in range(0, count, 1000):
            heads, readings = [], []
            for i in range(first, min(first + 1000, count)):
                heads.append(
                    {
                        "id": i + 1, "key": f"{i:064d}", "lot": f"lot {i // 50:05d}", "sample": str(i % 50),
                        "place": i % 50, "photos": "[]", "photos_sha256": "[]", "dropped": "[]",
                        "spec": "spread.toml", "spec_sha256": spec.source.sha256,
                        "settings": json.dumps(CHECKING.as_dict()), "version": "1", "made_at": "",
                        "checked_at": "2024-05-14T08:00:00+00:00", "labels": "{}", "status": "checked",
                        "reason": "", "verdict": "conforms", "answer": "", "seconds": 0.5, "result": "{}",
                    }
                )  # fmt: skip
                for r in base:
                    noise = float(rng.normal(0, 0.1)) + (wear[i] if r["name"] == "leg left" else 0.0)
                    readings.append({**r, "inspection_id": i + 1, "measured": r["measured"] + noise})
            connection.execute(insert(INSPECTION), heads)
            connection.execute(insert(READING), readings)
    return count


def ledger_speed(rows: int) -> None:
    """Time history and charts of every length against grouping the same rows with sqlite3 alone."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        with Ledger(place / "l.sqlite") as ledger:
            count = fill(ledger, place, rows)
            with closing(sqlite3.connect(place / "l.sqlite")) as raw:
                begin = time.perf_counter()
                plain = raw.execute(
                    "select r.name, i.lot, avg(measured - nominal), count(*) from reading r "
                    "join inspection i on i.id = r.inspection_id group by r.name, i.lot"
                ).fetchall()
                floor = time.perf_counter() - begin
            begin, cpu = time.perf_counter(), time.process_time()
            found = read_history(ledger, None, None, every=True)
            read = time.perf_counter() - begin
            page = history_page(found)
            whole, cpu = time.perf_counter() - begin, time.process_time() - cpu
            begin = time.perf_counter()
            one = read_history(ledger, None, "leg left", every=False)
            single = time.perf_counter() - begin
        assert len(plain) == sum(len(s.lot_names) for s in found.series)
        things, load = len(found.series), os.getloadavg()[0]
        print(f"{rows} readings: {count} inspections, {len(found.lots)} lots, {things} things measured")
        print(f"history of all {read:.2f} s, with all charts {whole:.2f} s ({len(page) // 1024} kB)")
        print(f"processor time of that {cpu:.2f} s")
        print(f"history of one length {single:.2f} s")
        print(
            f"one grouped query by sqlite3 alone {floor:.2f} s; ratio {whole / floor:.1f} (load {load:.1f})"
        )
        (leg,) = one.series
        where = leg.lot_names[leg.course.start]
        print(f"found in it: leg left, {leg.course.kind}, {leg.course.change:+.2f} mm since {where}")


def copies(folder: Path, count: int) -> None:
    """Write photos that differ in a comment, so that each is one of its own."""
    originals = sorted((ROOT / "sample_images" / "lot_ferry").glob("ferry_*.jpg"))
    for i in range(count):
        data = originals[i % len(originals)].read_bytes()
        note = f"copy {i}".encode()
        comment = b"\xff\xfe" + (len(note) + 2).to_bytes(2, "big") + note
        (folder / f"{i:03d}.jpg").write_bytes(data[:2] + comment + data[2:])


def telling(process: "subprocess.Popen[str]") -> Iterator[int]:
    """Yield the counts that a run tells on stderr."""
    assert process.stderr is not None
    for line in process.stderr:
        if " of " in line and "done" in line:
            yield int(line.split(":")[-1].split(" of ")[0])


def kill(times: int) -> None:
    """Kill a run and all its workers at random moments; then let it end, and count."""
    rng = np.random.default_rng(9)
    ferry = ROOT / "sample_images" / "lot_ferry" / "ferry.toml"
    with tempfile.TemporaryDirectory() as place:
        folder, ledger = Path(place, "lot"), Path(place, "l.sqlite")
        folder.mkdir()
        copies(folder, 3 * times)
        command: list[Any] = [
            sys.executable, "-m", "compare.cli", "lot", folder, "--spec", ferry, "--bars", "150.3,99.9",
            "--ledger", ledger, "--no-report", "--json",
        ]  # fmt: skip
        held = 0
        for k in range(times):
            process = subprocess.Popen(
                command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                start_new_session=True,
            )  # fmt: skip
            next(telling(process), None)  # it works; now a random moment within about two photos
            time.sleep(float(rng.uniform(0, 2)))
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
            with closing(sqlite3.connect(ledger)) as raw:
                ok = raw.execute("PRAGMA integrity_check").fetchone()[0]
                names = [r[0] for r in raw.execute("select sample from inspection")]
                bare = raw.execute(
                    "select count(*) from inspection where status = 'checked' and id not in "
                    "(select inspection_id from reading)"
                ).fetchone()[0]
            assert ok == "ok" and len(names) == len(set(names)) >= held and bare == 0
            print(f"killed {k + 1}: {len(names)} of {3 * times} samples, each once and whole", flush=True)
            held = len(names)
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
        data = json.loads(done.stdout)
        assert [s["name"] for s in data["samples"]] == [f"{i:03d}" for i in range(3 * times)]
        print(
            f"after {times} kills and one whole run: {len(data['samples'])} samples, every one exactly once"
        )
        shutil.rmtree(folder)


SEED = 2718
LEG = LENGTHS.index("leg left")


def made(count: int, tolerance: float, shown: Shown, masters: int = 0, **how: float) -> list[Simulated]:
    """Simulate lots of 24: stable, or the left leg with a `step` somewhere or a `drift` per sample."""
    rng = np.random.default_rng(SEED)
    out = []
    with tempfile.TemporaryDirectory() as place:
        spec = two_sided(Path(place), tolerance)
        for _ in range(count):
            truth = pieces(24, shown, rng)
            truth[:, LEG] += how.get("step", 0.0) * (np.arange(24) >= rng.integers(4, 21))
            truth[:, LEG] += how.get("drift", 0.0) * np.arange(24)
            truth[12, LEG] += how.get("fault", 0.0)
            out.append(simulate(spec, truth, shown, rng, [5, 11, 17][:masters]))
    return out


def _share(flags: Iterable[bool]) -> str:
    found = list(flags)
    return f"{sum(found)} of {len(found)}"


def _u(lots: list[Simulated]) -> float:
    return float(np.median([2 * s.u for x in lots for s in x.statistics if s.kind == "length"]))


def verdicts(count: int) -> None:
    """Print how often simulated lots are judged right; see `tests/helpers/simulated_lots.py`."""
    for tolerance in (0.5, 0.8):
        usual = Shown()
        print(f"tolerance {tolerance} mm; {usual}")
        lots = made(count, tolerance, usual)
        wrong = _share(any(a.sets or a.kind is AdviceKind.VARIES for a in x.advice) for x in lots)
        stopped = _share(x.decision.stop for x in lots)
        print(
            f"  no master: U {_u(lots):.2f} mm; told to change a die {wrong}, stopped {stopped}", flush=True
        )
        for masters in (1, 3):
            lots = made(count // 2, tolerance, usual, masters)
            accepted = _share(x.decision.word == "accept" for x in lots)
            print(f"  {masters} master(s): U {_u(lots):.2f} mm; stable lots accepted {accepted}", flush=True)
        lots = made(count // 2, tolerance, usual, 3, fault=tolerance + 0.1)
        called = [x.samples[12].verdict for x in lots]
        bad = [abs(x.truth[12, LEG]) > tolerance for x in lots]
        good = _share(v is Verdict.CONFORMS for v, b in zip(called, bad, strict=True) if b)
        print(f"  3 masters, one piece just outside: called good {good}", flush=True)
        for how in ({"step": 0.5}, {"drift": 0.05}):
            lots = made(count // 2, tolerance, usual, **how)
            seen = _share(any(s.name == "leg left" for s in x.decision.drifting) for x in lots)
            print(f"  {how}: found {seen}", flush=True)
        lots = made(count, tolerance, Shown(own=0.0, alike=0.5))
        changed = _share(bool(x.decision.drifting) for x in lots)
        lengths = _share(s.drifts for x in lots for s in x.statistics if s.kind == "length")
        print(f"  stable, neighbours alike by 0.5: lots changed {changed}, lengths {lengths}", flush=True)


if __name__ == "__main__":
    what, *more = sys.argv[1:] or [""]
    if what == "speed":
        speed(int(more[0]) if more else 40)
    elif what == "ledger":
        ledger_speed(int(more[0]) if more else 100_000)
    elif what == "kill":
        kill(int(more[0]) if more else 20)
    elif what == "simulate":
        verdicts(int(more[0]) if more else 200)
    else:
        print(__doc__)
