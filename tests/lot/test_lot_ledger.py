"""The ledger: every inspection once, whole, and readable by other programs; SQLite and PostgreSQL."""

import csv
import json
import os
import pickle
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from sqlalchemy import func, select

from capture.setup import Setup
from capture.sheet.printer_file import read_printer
from compare.compare_errors import LotError
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_entry import Entry, inspection_key
from compare.lot.ledger.ledger_history import Series, all_series, lots
from compare.lot.ledger.ledger_tables import CAUSE, INSPECTION, READING, SCHEMA_VERSION
from compare.lot.ledger.sqlite_file import APPLICATION_ID
from compare.lot.run.checking import Checking
from compare.lot.run.manifest import read_lot
from compare.lot.run.samples import load_samples
from compare.tell.lot.ledger_export import export
from compare.tell.lot.ledger_telling import TO_LEDGER
from compare.tell.result_files import EXPORT, write_whole
from tests.helpers.made_lots import CHECKING, drifting_lot, fake_folder, fill, result_of
from tests.helpers.made_profiles import TWO_SIDED, spec_of

POSTGRES_PLACES = ("/usr/lib/postgresql", "/usr/local/pgsql", "/opt/postgresql")


def postgres_program(name: str) -> str | None:
    """A program of PostgreSQL: on the path, or the newest in the usual places of distributions."""
    found = shutil.which(name)
    if found:
        return found
    for place in POSTGRES_PLACES:
        newest = sorted(Path(place).glob(f"**/bin/{name}"))
        if newest:
            return str(newest[-1])
    return None


@pytest.fixture(scope="module")
def postgres() -> Iterator[str]:
    """A real PostgreSQL server of its own, for the time of these tests; its URL."""
    initdb, pg_ctl = postgres_program("initdb"), postgres_program("pg_ctl")
    if initdb is None or pg_ctl is None:
        pytest.skip("PostgreSQL is not installed on this machine (Debian: postgresql)")
    home = Path(tempfile.mkdtemp(prefix="ledger-"))  # not pytest's: its folders are closed to other users
    prefix: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        if shutil.which("runuser") is None:
            pytest.skip("running as root without runuser: PostgreSQL refuses to start")
        user = next((u for u in ("postgres", "nobody") if _user_exists(u)), None)
        if user is None:
            pytest.skip("running as root, and there is no other user to start PostgreSQL as")
        shutil.chown(home, user)
        prefix = ["runuser", "-u", user, "--"]
    data = home / "data"
    subprocess.run(
        [*prefix, initdb, "-D", data, "-A", "trust", "-U", "gauge", "-E", "UTF8", "--no-sync"],
        check=True,
        capture_output=True,
        cwd=home,
    )
    port = 40_000 + os.getpid() % 20_000
    options = f"-p {port} -k {home} -c listen_addresses= -c fsync=off"
    control = [*prefix, pg_ctl, "-D", data, "-w", "-l", home / "log"]
    subprocess.run([*control, "-o", options, "start"], check=True, stdout=subprocess.DEVNULL, cwd=home)
    try:
        yield f"postgresql://gauge@/postgres?host={home}&port={port}"
    finally:
        subprocess.run([*control, "-m", "fast", "stop"], check=True, stdout=subprocess.DEVNULL, cwd=home)
        shutil.rmtree(home)


def _user_exists(name: str) -> bool:
    import pwd

    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True


def series(ledger: Ledger, name: str, rng: np.random.Generator) -> Series:
    (found,) = all_series(ledger, rng, only=name)
    return found


def entry(place: Path, number: int, *, lot: str = "lamps", refused: bool = False) -> Entry:
    spec = spec_of(TWO_SIDED, place)
    rng = np.random.default_rng(number)
    return Entry(
        lot=lot,
        sample=str(number),
        place=number,
        labels={"assembler": "Wren"},
        made_at="",
        photos=[f"p{number}.jpg"],
        photos_sha256=[f"{number:064d}"],
        dropped=(),
        spec="spread.toml",
        spec_sha256=spec.source.sha256,
        settings=CHECKING.as_dict(),
        version="1",
        status="refused" if refused else "checked",
        reason="too dark" if refused else "",
        seconds=0.1,
        result={} if refused else result_of(spec, {"leg left": -1.9}, rng),
        alone={} if refused else {"leg left": [-1.8, -2.0]},
    )


def keep_and_read_back(ledger: Ledger, place: Path) -> None:
    first = entry(place, 1)
    assert ledger.add(first) and not ledger.add(first)
    assert ledger.add(entry(place, 2, refused=True))
    assert ledger.count() == 2
    assert ledger.known([first.key, "no such"]) == {first.key}
    good, bad = load_samples(ledger, [first.key, entry(place, 2).key])
    assert good.verdict is not None and good.verdict.value == "does not conform"
    assert good.readings["leg left"].deviation == pytest.approx(-1.9, abs=0.4)
    assert good.readings["leg left"].alone == (-1.8, -2.0)
    assert good.readings["clearance left"].high == np.inf
    assert [c.name for c in good.causes] == ["leg left"]
    assert bad.verdict is None and bad.refused == (("p2.jpg", "too dark"),)
    ledger.relabel(first.key, lot="other")
    assert ledger.headings([first.key])[first.key]["lot"] == "other"
    ledger.relabel(first.key, lot="lamps")
    row = {
        "lot": "lamps", "spec_sha256": first.spec_sha256, "severity": "normal", "n": 5, "accept": 0,
        "nonconforming": 1, "accepted": 0, "accepted_stricter": 0,
    }  # fmt: skip
    ledger.decide(row)
    ledger.decide(row | {"accepted": 1})
    assert [d["accepted"] for d in ledger.decisions(first.spec_sha256)] == [1]
    (line,) = lots(ledger)
    assert (line.samples, line.failing, line.refused, line.decision) == (2, 1, 1, "accepted")


def test_sqlite(tmp_path: Path) -> None:
    with Ledger(tmp_path / "l.sqlite") as ledger:
        keep_and_read_back(ledger, tmp_path)
    with closing(sqlite3.connect(tmp_path / "l.sqlite")) as raw:
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert raw.execute("select count(*) from reading").fetchone()[0] == 21


def test_postgresql(postgres: str, tmp_path: Path) -> None:
    with Ledger(postgres) as ledger:
        keep_and_read_back(ledger, tmp_path)
    with Ledger(postgres, create=False) as ledger:  # opened again: the tables are there
        assert ledger.count() == 2
        got = series(ledger, "leg left", np.random.default_rng(0))
        assert got.lot_names == ("lamps",) and got.low == -0.8
        assert export(ledger, tmp_path / "out.csv") == 21


def test_postgresql_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(LotError, match="cannot be used") as err:
        Ledger(f"postgresql://gauge:secret@/postgres?host={tmp_path}&port=1")
    assert "secret" not in str(err.value)


def test_places_that_cannot_be_a_ledger(tmp_path: Path) -> None:
    with pytest.raises(LotError, match="no such ledger"):
        Ledger(tmp_path / "none.sqlite", create=False)
    text = tmp_path / "notes.sqlite"
    text.write_text("these are notes, and long enough not to be taken for an empty file " * 40)
    with pytest.raises(LotError, match=r"notes.sqlite is not a ledger \(no SQLite file\)"):
        Ledger(text)
    with pytest.raises(LotError, match="a file or a URL"):
        Ledger("tapedeck://somewhere")
    with pytest.raises(LotError, match="cannot be used"):
        Ledger(tmp_path / "no folder" / "l.sqlite")
    (tmp_path / "empty.sqlite").touch()
    with pytest.raises(LotError, match="holds no ledger of foldgauge$"):
        Ledger(tmp_path / "empty.sqlite", create=False)
    Ledger(tmp_path / "empty.sqlite").close()  # nobody's: it becomes one


@pytest.mark.parametrize("create", [True, False])
@pytest.mark.parametrize("journal", ["delete", "wal"])
@pytest.mark.parametrize("mark", [0, 42])
def test_another_programs_database_is_left_as_it_is(
    tmp_path: Path, create: bool, journal: str, mark: int
) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"pragma journal_mode = {journal}")
        raw.execute(f"pragma application_id = {mark}")
        raw.execute("create table about (name text, value text)")
        raw.execute("insert into about values ('schema', '2')")
        raw.commit()
    before = path.read_bytes()
    with pytest.raises(LotError, match="the data of another program, and is left as it is"):
        Ledger(path, create=create)
    assert path.read_bytes() == before and [p.name for p in tmp_path.iterdir()] == ["other.sqlite"]


def test_a_file_of_ours_is_known_by_its_mark(tmp_path: Path) -> None:
    path = tmp_path / "l.sqlite"
    Ledger(path).close()
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("pragma application_id").fetchone() == (APPLICATION_ID,)
    assert path.read_bytes()[68:72] == b"FOLD"  # where the file format keeps it (1.3.15)


def test_a_damaged_ledger_is_left_as_it_is(tmp_path: Path) -> None:
    whole = tmp_path / "whole.sqlite"
    with Ledger(whole) as ledger:
        for k in range(3):
            ledger.add(entry(tmp_path, k))
    data = whole.read_bytes()
    rng = np.random.default_rng(8)
    page = 4096  # of garbage; garbage inside a cell is the cell's, SQLite keeps no sums of it
    for k in range(12):
        path = tmp_path / f"{k}.sqlite"
        bad = bytearray(data)
        at = page * int(rng.integers(0, len(data) // page))
        bad[at : at + page] = rng.bytes(page)
        if k % 3 == 2:
            del bad[max(at, 1) :]
        path.write_bytes(bad)
        with pytest.raises(LotError, match=f"{k}.sqlite") as err:
            Ledger(path)
        assert "\n" not in str(err.value) and path.read_bytes() == bad


def test_cells_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    path, first = tmp_path / "l.sqlite", entry(tmp_path, 1)
    with Ledger(path) as ledger:
        ledger.add(first)
        for cell in ("labels", "photos", "verdict", "dropped"):
            with ledger.writing() as connection:
                connection.exec_driver_sql(f"update inspection set {cell} = '[7'")
            with pytest.raises(LotError, match="is damaged: its inspection of sample '1'"):
                load_samples(ledger, [first.key])
    with sqlite3.connect(path) as raw:
        raw.execute("update about set value = 'two'")
    raw.close()
    with pytest.raises(LotError, match="its schema is 'two'"):
        Ledger(path)


OPENER = """
import sys
sys.path[:0] = {paths!r}
from compare.lot.ledger.ledger import Ledger
sys.stdin.readline()
for k in range(25):
    Ledger(f"{place}/{{k}}.sqlite").close()
"""


def test_two_processes_may_make_a_ledger_at_once(tmp_path: Path) -> None:
    """Turning a new file to write-ahead mode wants it for itself: whoever comes second tries again."""
    code = OPENER.format(paths=[str(ROOT)], place=tmp_path)
    both = [subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE) for _ in range(2)]
    for process in both:
        assert process.stdin is not None
        process.stdin.write(b"\n")
        process.stdin.flush()
    for process in both:
        process.communicate()
    assert [process.returncode for process in both] == [0, 0]


def older_ledger(path: Path) -> None:
    """A ledger as version 1 wrote it: no mark, no decisions, no indexes, one figure of doubt."""
    with Ledger(path) as ledger:
        ledger.add(entry(path.parent, 1))
    with sqlite3.connect(path) as raw:
        raw.execute("drop table decision")
        raw.execute("drop index reading_by_name")
        raw.execute("drop index inspection_by_lot")
        for column in ("u_common", "u_assumed"):
            raw.execute(f"alter table reading drop column {column}")
        raw.execute("alter table inspection drop column unseen")
        raw.execute("update about set value = '1' where name = 'schema'")
        raw.execute("pragma application_id = 0")
    raw.close()


def test_an_older_ledger_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    older_ledger(path)
    with Ledger(path) as ledger:
        assert ledger.count() == 1 and ledger.decisions("x") == []
        (old,) = load_samples(ledger, [entry(tmp_path, 1).key])
        assert old.readings["leg left"].u > 0
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("select value from about").fetchone() == (str(SCHEMA_VERSION),)
        indexes = {r[0] for r in raw.execute("select name from sqlite_master where type = 'index'")}
    assert {"reading_by_name", "inspection_by_lot"} <= indexes


def test_a_newer_ledger_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite"
    Ledger(path).close()
    with sqlite3.connect(path) as raw:
        raw.execute("update about set value = '99'")
    raw.close()
    with pytest.raises(LotError, match=r"newer foldgauge \(schema 99"):
        Ledger(path)


def test_a_failed_transaction_leaves_nothing(tmp_path: Path) -> None:
    good = entry(tmp_path, 1)
    result = dict(good.result)
    result["pairs"] = {"leg left": result["lengths"]["leg left"]}  # fine
    result["lengths"] = dict(result["lengths"]) | {
        "x" * 3: {**result["lengths"]["leg left"], "verdict": None}
    }
    broken = Entry(**{f: getattr(good, f) for f in Entry.__slots__} | {"result": result})
    with Ledger(tmp_path / "l.sqlite") as ledger:
        with pytest.raises(LotError, match="NOT NULL"):
            ledger.add(broken)
        with ledger.reading() as connection:
            for table in (INSPECTION, READING, CAUSE):
                assert connection.execute(select(func.count()).select_from(table)).scalar() == 0


ROOT = Path(__file__).resolve().parents[2]
WRITER = """
import pickle, sys
sys.path[:0] = {paths!r}
from dataclasses import replace
from compare.lot.ledger.ledger import Ledger
with open({place!r} + "/entry", "rb") as file:
    first = pickle.load(file)
entries = [replace(first, sample=str(i), photos_sha256=[str(i)]) for i in range({count})]
with Ledger({place!r} + "/l.sqlite") as ledger:
    print("open", flush=True)
    for e in entries:
        ledger.add(e)
        print(e.sample, flush=True)
"""


def test_killed_writers_leave_every_finished_sample_once(tmp_path: Path) -> None:
    """kill -9 while writing, at random moments: what was reported as kept is there, once and whole."""
    count, rng = 400, np.random.default_rng(20)
    (tmp_path / "entry").write_bytes(pickle.dumps(entry(tmp_path, 0)))
    code = WRITER.format(paths=[str(ROOT)], place=str(tmp_path), count=count)
    reported: set[str] = set()
    for _ in range(4):
        writer = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
        assert writer.stdout is not None and writer.stdout.readline() == "open\n"
        time.sleep(float(rng.uniform(0.02, 0.3)))
        writer.kill()
        out = writer.communicate()[0]
        reported |= set(out.split("\n")[:-1])
    with closing(sqlite3.connect(tmp_path / "l.sqlite")) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        samples = [r[0] for r in raw.execute("select sample from inspection")]
        readings = raw.execute("select count(*) from reading group by inspection_id").fetchall()
    assert reported and len(samples) == len(set(samples)) and reported <= set(samples)
    assert len(readings) == len(samples) and set(readings) == {(21,)}


def test_two_processes_may_write_at_once(tmp_path: Path) -> None:
    (tmp_path / "entry").write_bytes(pickle.dumps(entry(tmp_path, 0)))
    code = WRITER.format(paths=[str(ROOT)], place=str(tmp_path), count=40)
    writers = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.DEVNULL) for _ in range(2)]
    assert [w.wait() for w in writers] == [0, 0]
    with Ledger(tmp_path / "l.sqlite") as ledger:
        assert ledger.count() == 40


def test_key_depends_on_photos_spec_settings_and_version() -> None:
    base = inspection_key(["a"], "s", {"use": "auto"}, "1")
    others = [
        inspection_key(["b"], "s", {"use": "auto"}, "1"),
        inspection_key(["a", "b"], "s", {"use": "auto"}, "1"),
        inspection_key(["a"], "t", {"use": "auto"}, "1"),
        inspection_key(["a"], "s", {"use": "arch"}, "1"),
        inspection_key(["a"], "s", {"use": "auto"}, "2"),
    ]
    assert len({base, *others}) == 6
    assert base == inspection_key(["a"], "s", {"use": "auto"}, "1")


def test_a_file_among_the_settings_counts_by_content(tmp_path: Path) -> None:
    one, two = tmp_path / "a" / "office.toml", tmp_path / "b" / "office.toml"
    for path in (one, two):
        path.parent.mkdir()
        path.write_text("a4 = [150.1, 100.1]")

    def kept(path: Path) -> dict[str, object]:
        return Checking(setup=Setup(printer=read_printer(path)), telling=TO_LEDGER).as_dict()

    assert kept(one) == kept(two)
    two.write_text("a4 = [150.1, 100.2]")
    assert kept(one) != kept(two)
    with_bars = Checking(setup=Setup(bars_mm=(150.0, 100.0), printer=read_printer(two)), telling=TO_LEDGER)
    assert with_bars.as_dict() == {"use": "auto", "rule": "guarded", "bars_mm": [150.0, 100.0]}


def test_export(tmp_path: Path) -> None:
    _, _, place = drifting_lot(tmp_path, count=6)
    with Ledger(place) as ledger:
        n = export(ledger, tmp_path / "o.csv")
        assert export(ledger, tmp_path / "o.parquet") == n == export(ledger, tmp_path / "o.jsonl") == 6 * 21
        assert export(ledger, tmp_path / "i.jsonl", "inspections") == 6
        assert export(ledger, tmp_path / "none.csv", lot="no such lot") == 0
        with pytest.raises(LotError, match=r"ends in .csv, .parquet, .jsonl"):
            export(ledger, tmp_path / "o.xls")
    with (tmp_path / "o.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    lines = [json.loads(x) for x in (tmp_path / "o.jsonl").read_text().splitlines()]
    table = pq.read_table(tmp_path / "o.parquet").to_pylist()
    assert len(rows) == len(lines) == len(table) == n
    for row, line, cell in zip(rows, lines, table, strict=True):
        assert float(row["measured"]) == line["measured"] == cell["measured"]
        assert row["name"] == line["name"] == cell["name"]
    assert lines[0]["labels"]["assembler"] == "Wren" and lines[0]["settings"] == CHECKING.as_dict()
    (high,) = {x["high"] for x in lines if x["name"] == "clearance left"}
    assert high is None
    assert not list(tmp_path.glob(".o.*"))


def test_an_export_that_fails_leaves_nothing(tmp_path: Path) -> None:
    def fail(path: Path) -> None:
        path.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(Exception, match="No space left"):
        write_whole(tmp_path / "o.csv", fail, EXPORT)
    assert not list(tmp_path.iterdir())


def test_history_finds_what_drifts_over_lots(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    rng = np.random.default_rng(3)
    base = result_of(spec, {}, rng)
    with Ledger(tmp_path / "l.sqlite") as ledger:
        for k in range(12):
            lot = read_lot(fake_folder(tmp_path / f"lot {k:02d}", 5))
            wrong = [{"leg left": float(rng.normal(0, 0.05)) - 0.08 * max(k - 5, 0)} for _ in range(5)]
            fill(ledger, lot, spec, wrong, rng, base)
        got = series(ledger, "leg left", rng)
        assert got.lot_names == tuple(f"lot {k:02d}" for k in range(12)) and set(got.counts) == {5}
        assert got.course.changed and -0.7 < got.course.change < -0.3 and 4 <= got.course.start <= 7
        assert not series(ledger, "leg right", rng).course.changed
        # the database's grouping gives what numpy makes of the samples
        with ledger.reading() as connection:
            d = READING.c.measured - READING.c.nominal
            query = select(INSPECTION.c.lot, d).join(READING, READING.c.inspection_id == INSPECTION.c.id)
            rows = connection.execute(query.where(READING.c.name == "leg left")).all()
        for k, lot in enumerate(got.lot_names):
            x = np.array([v for name, v in rows if name == lot])
            assert (got.means[k], got.sds[k]) == pytest.approx((x.mean(), x.std(ddof=1)))
        assert got.extent == pytest.approx((min(v for _, v in rows), max(v for _, v in rows)))
        assert len(all_series(ledger, rng)) == 21 and all_series(ledger, rng)[0].unit == "mm"
        with pytest.raises(LotError, match=r"holds no 'leg top' \(it holds: .*leg left"):
            series(ledger, "leg top", rng)
        assert len(lots(ledger)) == 12 == len(lots(ledger, "spread.toml")) and lots(ledger, "x.toml") == ()
