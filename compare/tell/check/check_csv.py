"""The compared items as a table for a spreadsheet: one row per item, numbers in mm and degrees.

kind          length | angle | pair | lean | clearance
name, unit    "leg right", "mm"
nominal, measured, U, deviation
low, high     limits on the deviation; empty = no limit on that side
probability   that the true value lies within the limits
verdict       empty for angles, which carry no limits of their own
remark        what else is to be known of it ("by hand: spine")
"""

import csv
import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from compare.tell.result_files import TABLE, write_whole
from compare.tell.table_cells import plain_row
from compare.tell.words.verdict_words import remark_words
from compare.verdict.conformity import Item
from compare.verdict.findings import Findings

COLUMNS: Final = (
    "kind",
    "name",
    "unit",
    "nominal",
    "measured",
    "U",
    "deviation",
    "low",
    "high",
    "probability",
    "verdict",
    "remark",
)


def _number(x: float) -> str:
    return f"{round(x, 4) + 0.0:.4f}" if math.isfinite(x) else ""


def _row(kind: str, item: Item) -> dict[str, str]:
    judged = math.isfinite(item.low) or math.isfinite(item.high)
    return {
        "kind": kind,
        "name": item.name,
        "unit": item.unit,
        "nominal": _number(item.nominal),
        "measured": _number(item.measured),
        "U": _number(item.expanded),
        "deviation": _number(item.deviation),
        "low": _number(item.low),
        "high": _number(item.high),
        "probability": _number(item.probability) if judged else "",
        "verdict": item.verdict.value if judged else "",
        "remark": remark_words(item),
    }


def rows(findings: Findings) -> Iterator[dict[str, str]]:
    """Yield one row per item, in the order of the report."""
    groups = (
        ("length", findings.lengths),
        ("angle", findings.angles),
        ("pair", findings.pairs),
        ("lean", tuple(n.item for n in findings.leans)),
        ("clearance", findings.clearances),
    )
    for kind, items in groups:
        for item in items:
            yield _row(kind, item)


def csv_text(findings: Findings) -> str:
    """Return the table as CSV text (RFC 4180: commas, CRLF), with a heading row."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(plain_row(row) for row in rows(findings))
    return out.getvalue()


def write_csv(findings: Findings, path: Path, *, replace: bool = False) -> None:
    """Write the table; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    text = csv_text(findings)
    write_whole(path, lambda temporary: temporary.write_bytes(text.encode("utf-8")), TABLE, replace=replace)
