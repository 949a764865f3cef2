"""Tables of the ledger, their version, and the steps from an older version to this one.

One row of `inspection` is one sample checked once, from one photo or several. Its key is made of the photos,
the spec, the settings and the version of foldgauge: the same inspection can be there only once.
"""

from collections.abc import Callable, Mapping
from typing import Final

from sqlalchemy import (
    Column,
    Connection,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    inspect,
)

SCHEMA_VERSION: Final = 3

METADATA: Final = MetaData()

ABOUT: Final = Table(
    "about", METADATA, Column("name", String(40), primary_key=True), Column("value", Text, nullable=False)
)

INSPECTION: Final = Table(
    "inspection",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("key", String(64), nullable=False, unique=True),
    Column("lot", Text, nullable=False),
    Column("sample", Text, nullable=False),
    Column("place", Integer, nullable=False),  # of the sample in its lot, in the order they were made
    Column("photos", Text, nullable=False),  # JSON: names
    Column("photos_sha256", Text, nullable=False),  # JSON, in the same order
    Column("dropped", Text, nullable=False),  # JSON: [name, reason] of photos that could not be used
    Column("spec", Text, nullable=False),
    Column("spec_sha256", String(64), nullable=False),
    Column("settings", Text, nullable=False),  # JSON
    Column("version", Text, nullable=False),
    Column("made_at", Text, nullable=False),  # as the manifest says, "" if it does not
    Column("checked_at", Text, nullable=False),  # ISO 8601, UTC
    Column("labels", Text, nullable=False),  # JSON: assembler, die, shift ...
    Column("status", String(10), nullable=False),  # "checked" or "refused"
    Column("reason", Text, nullable=False),
    Column("verdict", Text, nullable=False),
    Column("answer", Text, nullable=False),
    Column("unseen", Text),  # JSON: what the photo should show and does not; null = not known
    Column("seconds", Float, nullable=False),
    Column("result", Text, nullable=False),  # JSON, everything `foldgauge check --json` prints
)

READING: Final = Table(
    "reading",
    METADATA,
    Column("inspection_id", Integer, ForeignKey("inspection.id"), primary_key=True),
    Column("kind", String(12), primary_key=True),  # "length", "pair", "lean", "clearance"
    Column("name", String(80), primary_key=True),
    Column("nominal", Float),
    Column("measured", Float),
    Column("u", Float),
    Column("u_common", Float),  # part of u that photos of one set-up share; null = not known
    Column("u_assumed", Float),  # part of u from what no photo shows (an unseen spine); null = not known
    Column("low", Float),  # limits of measured - nominal; null = none
    Column("high", Float),
    Column("verdict", Text, nullable=False),
    Column("alone", Text, nullable=False),  # JSON: deviation by each photo alone, if there are several
)

CAUSE: Final = Table(
    "cause",
    METADATA,
    Column("inspection_id", Integer, ForeignKey("inspection.id"), primary_key=True),
    Column("name", String(80), primary_key=True),
    Column("sentence", Text, nullable=False),
    Column("size_mm", Float),
    Column("probability", Float),
    Column("lean_deg", Float),  # the largest lean it makes on either side
)

DECISION: Final = Table(
    "decision",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("lot", Text, nullable=False),
    Column("spec_sha256", String(64), nullable=False),
    Column("decided_at", Text, nullable=False),
    Column("severity", Text, nullable=False),
    Column("n", Integer, nullable=False),
    Column("accept", Integer, nullable=False),
    Column("nonconforming", Integer, nullable=False),
    Column("accepted", Integer, nullable=False),
    Column("accepted_stricter", Integer, nullable=False),
)

READING_BY_NAME: Final = Index("reading_by_name", READING.c.name, READING.c.kind, READING.c.inspection_id)
INSPECTION_BY_LOT: Final = Index("inspection_by_lot", INSPECTION.c.lot)


def _to_2(connection: Connection) -> None:
    """Version 2 keeps the decisions on lots, and finds a length of many inspections quickly."""
    DECISION.create(connection)
    there = {i["name"] for table in ("reading", "inspection") for i in inspect(connection).get_indexes(table)}
    for index in (READING_BY_NAME, INSPECTION_BY_LOT):
        if index.name not in there:
            index.create(connection)


def _to_3(connection: Connection) -> None:
    """Version 3 keeps apart what of an uncertainty all photos of a set-up share, and what is assumed."""
    for table, column, kind in (
        ("reading", "u_common", "FLOAT"),
        ("reading", "u_assumed", "FLOAT"),
        ("inspection", "unseen", "TEXT"),
    ):
        if column not in {c["name"] for c in inspect(connection).get_columns(table)}:
            connection.exec_driver_sql(f"ALTER TABLE {table} ADD COLUMN {column} {kind}")


MIGRATIONS: Final[Mapping[int, Callable[[Connection], None]]] = {2: _to_2, 3: _to_3}
"""Version -> the step that leads to it from the one before."""
