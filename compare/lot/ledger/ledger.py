"""The ledger: every inspection kept, whole or not at all, in SQLite or PostgreSQL.

SQLite runs with a write-ahead log and full synchronisation, one transaction per sample: a process killed at
any moment leaves every finished sample there once and nothing of the others.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, create_engine, func, insert, inspect, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from compare.compare_errors import LotError, LotOption
from compare.lot.ledger.ledger_entry import Entry, causes_of, readings_of
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
from compare.lot.ledger.sqlite_file import APPLICATION_ID, Owner, damage, owner_of, settle

LEDGER_TABLES: Final = frozenset((ABOUT.name, INSPECTION.name, READING.name))
"""What every ledger holds, also one from before files were marked as ours."""


def _url(place: str | Path) -> str | URL:
    text = str(place)
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text).absolute()))
    for plain in ("postgresql://", "postgres://"):
        if text.startswith(plain):
            return "postgresql+psycopg://" + text[len(plain) :]
    return text


def _mark(connection: Connection) -> None:
    """Mark a file as a ledger, so that it can be told from the files of other programs."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")


class Ledger:
    """An open ledger.

    Parameters
    ----------
    place : path of a SQLite file (made if it is not there), or a URL such as
        postgresql://user@host/database.
    create : make the file or the tables if they are not there; else their absence is an error.

    Raises
    ------
    LotError : it cannot be opened, is damaged, belongs to another program, or was written by a newer
        foldgauge; then nothing is written into it.
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
            self._must_be_ours(create)
            settle(self.engine)
        with self._told():
            self._bring_up_to_date(create)

    def _must_be_ours(self, create: bool) -> None:
        """Refuse a file of another program before anything is written into it."""
        database = self.engine.url.database
        if not database or database == ":memory:":
            return
        owner = owner_of(Path(database), LEDGER_TABLES)
        if owner is Owner.ANOTHER:
            raise LotError(
                f"{self._named()} holds no ledger of foldgauge but the data of another program, and is left "
                "as it is; ",
                LotOption.LEDGER,
                " names another place",
            )
        if owner is Owner.NOBODY and not create:
            raise LotError(f"{self._named()} holds no ledger of foldgauge")

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
            wrong = damage(connection) if create and connection.dialect.name == "sqlite" else None
        if wrong is not None:
            raise LotError(
                f"the ledger {self._named()} is damaged ({wrong}) and is left as it is; ",
                LotOption.LEDGER,
                " names another place",
            )
        if found == SCHEMA_VERSION:
            return
        if found is None and not create:
            raise LotError(f"{self._named()} holds no ledger of foldgauge")
        with self.writing() as connection:
            found = self._version(connection)  # another process may have been faster
            if found is None:
                METADATA.create_all(connection)
                connection.execute(insert(ABOUT).values(name="schema", value=str(SCHEMA_VERSION)))
                _mark(connection)
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
            _mark(connection)

    def _version(self, connection: Connection) -> int | None:
        if not inspect(connection).has_table(ABOUT.name):
            return None
        value = connection.execute(select(ABOUT.c.value).where(ABOUT.c.name == "schema")).scalar()
        if value is None:
            return None
        if not str(value).isdecimal():
            raise LotError(f"the ledger {self._named()} is damaged: its schema is {str(value)[:20]!r}")
        return int(value)

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
            "unseen": json.dumps(entry.result["unseen"]) if "unseen" in entry.result else None,
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
