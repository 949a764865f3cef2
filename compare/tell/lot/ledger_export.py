"""The ledger for other programs: CSV, Parquet, or JSON lines."""

import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Literal

from sqlalchemy import Float, select

from compare.compare_errors import LotError
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_tables import INSPECTION, READING
from compare.tell.result_files import EXPORT, write_whole
from compare.tell.table_cells import plain_row

What = Literal["readings", "inspections"]
SUFFIXES: Final = (".csv", ".parquet", ".jsonl")
BATCH: Final = 5000  # rows held at a time

_HEAD: Final = (
    "lot", "sample", "place", "made_at", "checked_at", "spec", "spec_sha256", "photos", "photos_sha256",
    "settings", "version", "labels", "status", "reason", "verdict", "answer",
)  # fmt: skip


def rows_of(ledger: Ledger, what: What, lot: str | None = None) -> Iterator[dict[str, Any]]:
    """Yield the rows, oldest first: one per inspection, or one per reading with its inspection beside it."""
    columns: list[Any] = [INSPECTION.c.id, *(INSPECTION.c[name] for name in _HEAD)]
    query = select(*columns).order_by(INSPECTION.c.id)
    if what == "readings":
        own = [c.label(f"reading_{c.name}" if c.name == "verdict" else c.name) for c in READING.c][1:]
        query = (
            select(*columns, *own)
            .join(READING, READING.c.inspection_id == INSPECTION.c.id)
            .order_by(INSPECTION.c.id, READING.c.kind, READING.c.name)
        )
    if lot is not None:
        query = query.where(INSPECTION.c.lot == lot)
    with ledger.reading() as connection:
        result = connection.execution_options(yield_per=BATCH).execute(query)
        for row in result.mappings():
            yield dict(row)


def _column_names(ledger: Ledger, what: What) -> list[str]:
    names = ["id", *_HEAD]
    if what == "readings":
        names += [f"reading_{c.name}" if c.name == "verdict" else c.name for c in READING.c][1:]
    return names


def _csv(path: Path, names: list[str], rows: Iterator[dict[str, Any]]) -> int:
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.DictWriter(file, names)
        out.writeheader()
        count = 0
        for row in rows:
            out.writerow(plain_row(row))
            count += 1
    return count


def _jsonl(path: Path, names: list[str], rows: Iterator[dict[str, Any]]) -> int:
    """Write one object per line; what is JSON inside becomes JSON, not text."""
    inner = {"photos", "photos_sha256", "settings", "labels", "alone"}
    count = 0
    with path.open("w", encoding="utf-8") as file:
        for row in rows:
            opened = {k: json.loads(v) if k in inner else v for k, v in row.items()}
            file.write(json.dumps(opened, ensure_ascii=False, allow_nan=False) + "\n")
            count += 1
    return count


def _parquet(path: Path, names: list[str], rows: Iterator[dict[str, Any]]) -> int:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise LotError("Parquet wants pyarrow: pip install 'foldgauge[parquet]', or export CSV") from None
    whole, real = {"id", "place"}, {c.name for c in READING.c if isinstance(c.type, Float)}
    kinds = [pa.int64() if n in whole else pa.float64() if n in real else pa.string() for n in names]
    schema = pa.schema(list(zip(names, kinds, strict=True)))
    count = 0
    with pq.ParquetWriter(path, schema) as out:
        while batch := [row for _, row in zip(range(BATCH), rows, strict=False)]:
            out.write_table(pa.Table.from_pylist(batch, schema=schema))
            count += len(batch)
    return count


_WRITERS: Final = {".csv": _csv, ".jsonl": _jsonl, ".parquet": _parquet}


def export(
    ledger: Ledger, path: Path, what: What = "readings", lot: str | None = None, *, replace: bool = False
) -> int:
    """Write the ledger, whole or not at all; the ending of the name says how.

    Returns
    -------
    Number of rows.

    Raises
    ------
    LotError : an ending that is not known, or pyarrow is missing. OutputError : it cannot be written.
    """
    writer = _WRITERS.get(path.suffix.lower())
    if writer is None:
        raise LotError(f"a name that ends in {', '.join(SUFFIXES)} is wanted, got {path.name!r}")
    count = 0

    def make(temporary: Path) -> None:
        nonlocal count
        count = writer(temporary, _column_names(ledger, what), rows_of(ledger, what, lot))

    write_whole(path, make, EXPORT, replace=replace)
    return count
