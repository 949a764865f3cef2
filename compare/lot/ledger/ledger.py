"""The ledger: every inspection kept, whole or not at all, in SQLite or PostgreSQL.

SQLite runs with a write-ahead log and full synchronisation, one transaction per sample: a process killed at
any moment leaves every finished sample there once and nothing of the others.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, create_engine, event, func, insert, inspect, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from compare.compare_errors import LotError, LotOption
from compare.lot.ledger.ledger_tables import (
    ABOUT,
    CAUSE,
    DECISION,
    INSPECTION,
    METADATA,
    MIGRATIONS,
    READING,
    SCHEMA_VERSION,
)

TABLES: Final = {"length": "lengths", "pair": "pairs", "lean": "lean", "clearance": "clearance"}
"""Kind of a reading -> where it stands in a result."""

BUSY_MS: Final = 30_000  # how long a writer waits for another one


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One sample checked, as it goes into the ledger.

    Attributes
    ----------
    lot, sample, place, labels, made_at : from the folder and the manifest.
    photos, photos_sha256, spec, spec_sha256, settings, version : what was checked with what.
    dropped : (photo, reason) of those that could not be used.
    status : "checked" or "refused"; reason : why it was refused.
    result : as the command `check` prints it as JSON; {} if refused.
    alone : name of a reading -> its deviation by each photo alone; {} for a single photo.
    """

    lot: str
    sample: str
    place: int
    labels: Mapping[str, str]
    made_at: str
    photos: Sequence[str]
    photos_sha256: Sequence[str]
    dropped: Sequence[tuple[str, str]]
    spec: str
    spec_sha256: str
    settings: Mapping[str, Any]
    version: str
    status: str
    reason: str
    seconds: float
    result: Mapping[str, Any]
    alone: Mapping[str, Sequence[float]]

    @property
    def key(self) -> str:
        """What makes this inspection the same as another."""
        return inspection_key(self.photos_sha256, self.spec_sha256, self.settings, self.version)


def inspection_key(
    photos_sha256: Sequence[str], spec_sha256: str, settings: Mapping[str, Any], version: str
) -> str:
    """Return the key of an inspection: photos, spec, settings and version, hashed."""
    text = json.dumps([list(photos_sha256), spec_sha256, dict(settings), version], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def readings_of(
    result: Mapping[str, Any], alone: Mapping[str, Sequence[float]] | None = None
) -> list[dict[str, Any]]:
    """Return the rows of everything with a verdict in a result."""
    rows: list[dict[str, Any]] = []
    for kind, table in TABLES.items():
        for short, item in result.get(table, {}).items():
            low, high = item["limits"]
            name = f"{kind} {short}" if kind in ("lean", "clearance") else short
            rows.append(
                {
                    "kind": kind,
                    "name": name,
                    "nominal": item["nominal"],
                    "measured": item["measured"],
                    "u": None if item["U"] is None else item["U"] / 2,
                    "low": low,
                    "high": high,
                    "verdict": item["verdict"],
                    "alone": json.dumps(list((alone or {}).get(name, ()))),
                }
            )
    return rows


def causes_of(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the rows of the causes that the answer names.

    Where the diagnosis names none but the sample fails, the length with the largest share of the lean of each
    failing half stands in, as it does in the answer.
    """
    named = _named_causes(result)
    if named or result.get("verdict") != "does not conform":
        return named
    out: dict[str, dict[str, Any]] = {}
    for half in result["lean"].values():
        shares = [c for c in half["contributions"] if c["exact"] is not None]
        if half["verdict"] != "does not conform" or not shares:
            continue
        largest = max(shares, key=lambda c: abs(c["exact"]))
        out.setdefault(
            largest["length"],
            {
                "name": largest["length"],
                "sentence": "",
                "size_mm": largest["deviation_mm"],
                "probability": None,
                "lean_deg": abs(largest["exact"]),
            },
        )
    return list(out.values())


def _named_causes(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "name": c["name"],
            "sentence": c["sentence"],
            "size_mm": c["size_mm"],
            "probability": c["probability"],
            "lean_deg": max((abs(v) for v in c["lean"].values() if v is not None), default=0.0),
        }
        for c in result.get("diagnosis", {}).get("causes", ())
        if c["named"] and result["verdict"] != "conforms"
    ]


def _url(place: str | Path) -> str:
    text = str(place)
    if "://" not in text:
        return f"sqlite:///{Path(text).absolute()}"
    for plain in ("postgresql://", "postgres://"):
        if text.startswith(plain):
            return "postgresql+psycopg://" + text[len(plain) :]
    return text


def _sqlite_settings(engine: Engine) -> None:
    """Write-ahead log, full synchronisation, and transactions that begin when we say so.

    Python's driver would begin them late and end them before a change of tables; SQLAlchemy documents this
    cure (dialects, SQLite, "Serializable isolation / Savepoints / Transactional DDL").
    """

    @event.listens_for(engine, "connect")
    def _(connection: Any, record: object) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in (
            f"busy_timeout = {BUSY_MS}",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        writing = connection.get_execution_options().get("writing")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


class Ledger:
    """An open ledger.

    Parameters
    ----------
    place : path of a SQLite file (made if it is not there), or a URL such as
        postgresql://user@host/database.
    create : make the file or the tables if they are not there; else their absence is an error.

    Raises
    ------
    LotError : it cannot be opened, or was written by a newer foldgauge.
    """

    def __init__(self, place: str | Path, *, create: bool = True) -> None:
        self.place = str(place)
        if "://" not in self.place and not create and not Path(self.place).is_file():
            raise LotError(
                f"{self.place}: there is no such ledger; ", LotOption.LEDGER, " names another place"
            )
        try:
            self.engine = create_engine(_url(place))
        except (ArgumentError, NoSuchModuleError):
            raise LotError(
                LotOption.LEDGER,
                f": a file or a URL like postgresql://user@host/database is wanted, got {self.place!r}",
            ) from None
        except ImportError as err:
            raise LotError(
                LotOption.LEDGER, f": the driver {err.name} is missing; pip install 'foldgauge[postgresql]'"
            ) from None
        if self.engine.dialect.name == "sqlite":
            _sqlite_settings(self.engine)
        with self._told():
            self._bring_up_to_date(create)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> "Ledger":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Tell a database error in one line."""
        try:
            yield
        except SQLAlchemyError as err:
            cause = str(getattr(err, "orig", None) or err).strip().splitlines()[0]
            raise LotError(f"the ledger {self._named()} cannot be used: {cause}") from None

    def _named(self) -> str:
        """Its place without a password."""
        return (
            str(self.engine.url.render_as_string(hide_password=True)) if "://" in self.place else self.place
        )

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that writes; all of it is kept or nothing."""
        with self._told(), self.engine.connect().execution_options(writing=True) as connection:
            with connection.begin():
                yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that only reads."""
        with self._told(), self.engine.connect() as connection:
            yield connection

    def _bring_up_to_date(self, create: bool) -> None:
        with self.reading() as connection:
            found = self._version(connection)
        if found == SCHEMA_VERSION:
            return
        if found is None and not create:
            raise LotError(f"{self._named()} holds no ledger of foldgauge")
        with self.writing() as connection:
            found = self._version(connection)  # another process may have been faster
            if found is None:
                METADATA.create_all(connection)
                connection.execute(insert(ABOUT).values(name="schema", value=str(SCHEMA_VERSION)))
                return
            if found > SCHEMA_VERSION:
                raise LotError(
                    f"{self._named()} was written by a newer foldgauge (schema {found}, this one knows "
                    f"{SCHEMA_VERSION}): update foldgauge"
                )
            for version in range(found + 1, SCHEMA_VERSION + 1):
                MIGRATIONS[version](connection)
            connection.execute(
                update(ABOUT).where(ABOUT.c.name == "schema").values(value=str(SCHEMA_VERSION))
            )

    @staticmethod
    def _version(connection: Connection) -> int | None:
        if not inspect(connection).has_table(ABOUT.name):
            return None
        value = connection.execute(select(ABOUT.c.value).where(ABOUT.c.name == "schema")).scalar()
        return None if value is None else int(value)

    def add(self, entry: Entry) -> bool:
        """Keep one inspection; False if it is there already (then nothing is changed)."""
        dialect = postgresql if self.engine.dialect.name == "postgresql" else sqlite
        row = {
            "key": entry.key,
            "lot": entry.lot,
            "sample": entry.sample,
            "place": entry.place,
            "photos": json.dumps(list(entry.photos)),
            "photos_sha256": json.dumps(list(entry.photos_sha256)),
            "dropped": json.dumps([list(d) for d in entry.dropped]),
            "spec": entry.spec,
            "spec_sha256": entry.spec_sha256,
            "settings": json.dumps(dict(entry.settings), sort_keys=True),
            "version": entry.version,
            "made_at": entry.made_at,
            "checked_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "labels": json.dumps(dict(entry.labels)),
            "status": entry.status,
            "reason": entry.reason,
            "verdict": entry.result.get("verdict", ""),
            "answer": entry.result.get("answer", ""),
            "seconds": entry.seconds,
            "result": json.dumps(dict(entry.result), allow_nan=False),
        }
        new = dialect.insert(INSPECTION).values(row).on_conflict_do_nothing(index_elements=["key"])
        with self.writing() as connection:
            number = connection.execute(new.returning(INSPECTION.c.id)).scalar()
            if number is None:
                return False
            readings = readings_of(entry.result, entry.alone)
            for table, rows in ((READING, readings), (CAUSE, causes_of(entry.result))):
                if rows:
                    connection.execute(insert(table), [{"inspection_id": number, **r} for r in rows])
        return True

    def known(self, keys: Sequence[str]) -> set[str]:
        """Return those of the keys that are in the ledger."""
        out: set[str] = set()
        with self.reading() as connection:
            for i in range(0, len(keys), 500):
                part = keys[i : i + 500]
                out.update(
                    connection.execute(select(INSPECTION.c.key).where(INSPECTION.c.key.in_(part))).scalars()
                )
        return out

    def headings(self, keys: Sequence[str]) -> dict[str, dict[str, str | int]]:
        """Return lot, sample, place, photos (JSON), time and labels (JSON) of inspections, by key."""
        c = INSPECTION.c
        columns = (c.key, c.lot, c.sample, c.place, c.photos, c.made_at, c.labels)
        out: dict[str, dict[str, str | int]] = {}
        with self.reading() as connection:
            for i in range(0, len(keys), 500):
                query = select(*columns).where(c.key.in_(keys[i : i + 500]))
                for row in connection.execute(query).mappings():
                    out[row["key"]] = {k: v for k, v in row.items() if k != "key"}
        return out

    def relabel(self, key: str, **values: str | int) -> None:
        """Put right what the manifest says about an inspection that is there already."""
        with self.writing() as connection:
            connection.execute(update(INSPECTION).where(INSPECTION.c.key == key).values(**values))

    def count(self) -> int:
        """Return the number of inspections."""
        with self.reading() as connection:
            return int(connection.execute(select(func.count()).select_from(INSPECTION)).scalar_one())

    def decide(self, row: Mapping[str, Any]) -> None:
        """Keep the decision on a lot; a later decision on the same lot and design takes its place."""
        same = (DECISION.c.lot == row["lot"]) & (DECISION.c.spec_sha256 == row["spec_sha256"])
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with self.writing() as connection:
            there = connection.execute(select(DECISION.c.id).where(same)).scalar()
            if there is None:
                connection.execute(insert(DECISION).values(**row, decided_at=now))
            else:
                connection.execute(
                    update(DECISION).where(DECISION.c.id == there).values(**row, decided_at=now)
                )

    def decisions(self, spec_sha256: str) -> list[dict[str, Any]]:
        """Return the decisions on lots of a design, oldest first."""
        query = select(DECISION).where(DECISION.c.spec_sha256 == spec_sha256).order_by(DECISION.c.id)
        with self.reading() as connection:
            return [dict(r) for r in connection.execute(query).mappings()]
