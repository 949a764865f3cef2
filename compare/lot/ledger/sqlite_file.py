"""A ledger in a SQLite file: whose file it is, looked at before anything is written, and how it is opened."""

import sqlite3
import time
from enum import Enum, auto
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from sqlalchemy import Connection, Engine, event

from compare.compare_errors import LotError, LotOption

APPLICATION_ID: Final = 0x464F4C44
"""Stands in the header of every ledger file (SQLite file format, 1.3.15): "FOLD"."""

BUSY_S: Final = 30.0  # how long a writer waits for another one
AGAIN_S: Final = 0.02  # between two tries to get a file nobody else holds
_MAGIC: Final = b"SQLite format 3\x00"
_BUSY: Final = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


class Owner(Enum):
    """Whose a SQLite file is."""

    NOBODY = auto()  # not there, or nothing in it yet
    OURS = auto()
    ANOTHER = auto()


def owner_of(path: Path, own_tables: frozenset[str]) -> Owner:
    """Return whose file this is, without writing anything, not even beside it.

    Parameters
    ----------
    path : of the file. own_tables : what a ledger from before files were marked holds at least.

    Raises
    ------
    LotError : it is no SQLite file, or it is damaged.
    """
    try:
        with path.open("rb") as file:
            head = file.read(len(_MAGIC))
    except FileNotFoundError:
        return Owner.NOBODY
    except OSError as err:
        raise LotError(f"the ledger {path} cannot be read: {err.strerror}") from None
    if not head:
        return Owner.NOBODY
    if head != _MAGIC:
        raise LotError(
            f"{path} is not a ledger (no SQLite file), and is left as it is; ",
            LotOption.LEDGER,
            " names another place",
        )
    until = time.monotonic() + BUSY_S
    while True:
        try:
            mark, tables = _looked_at(path)
            break
        except sqlite3.OperationalError as err:  # another process is just making it
            if err.sqlite_errorcode not in _BUSY or time.monotonic() > until:
                raise LotError(f"the ledger {path} cannot be used: {err}") from None
        except sqlite3.DatabaseError as err:
            raise LotError(
                f"the ledger {path} is damaged ({err}) and is left as it is; ",
                LotOption.LEDGER,
                " names another place",
            ) from None
        time.sleep(AGAIN_S)
    if mark == APPLICATION_ID or (mark == 0 and own_tables <= tables):
        return Owner.OURS
    return Owner.ANOTHER if mark or tables else Owner.NOBODY


def _looked_at(path: Path) -> tuple[int, frozenset[str]]:
    """Return a file's mark and the names of its tables.

    Where no write-ahead log lies beside it the file is read as one that cannot change: reading makes no log.
    """
    how = "mode=ro" if Path(f"{path}-wal").exists() else "mode=ro&immutable=1"
    raw = sqlite3.connect(f"file:{quote(str(path.absolute()))}?{how}", uri=True, timeout=BUSY_S)
    try:
        mark = int(raw.execute("PRAGMA application_id").fetchone()[0])
        found = raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    finally:
        raw.close()
    return mark, frozenset(str(name) for (name,) in found)


def _write_ahead(cursor: Any) -> None:
    """Turn a file to write-ahead mode; that wants it for itself, and does not wait of its own accord."""
    until = time.monotonic() + BUSY_S
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as err:
            if err.sqlite_errorcode not in _BUSY or time.monotonic() > until:
                raise
        time.sleep(AGAIN_S)


def settle(engine: Engine) -> None:
    """Write-ahead log, full synchronisation, and transactions that begin when we say so.

    Python's driver would begin them late and end them before a change of tables; SQLAlchemy documents this
    cure (dialects, SQLite, "Serializable isolation / Savepoints / Transactional DDL").
    """

    @event.listens_for(engine, "connect")
    def _(connection: Any, record: object) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_S)}")
        _write_ahead(cursor)
        for pragma in ("synchronous = FULL", "foreign_keys = ON"):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        writing = connection.get_execution_options().get("writing")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def damage(connection: Connection) -> str | None:
    """Return what SQLite finds wrong with the file, None if nothing (PRAGMA quick_check)."""
    told = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar())
    return None if told == "ok" else " ".join(told.split())
