"""Cells of the tables we write for spreadsheets."""

from collections.abc import Mapping
from typing import Any, Final

FORMULA: Final = frozenset("=+-@\t\r\n")


def plain_cell(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula; numbers stay numbers.

    Text that begins with one of = + - @, a tab or a line end is worked out when a table is opened (common
    practice among spreadsheets, no source); an apostrophe before it keeps it text.
    """
    if not isinstance(value, str) or value[:1] not in FORMULA:
        return value
    try:
        float(value)
    except ValueError:
        return f"'{value}"
    return value


def plain_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row of such cells."""
    return {column: plain_cell(value) for column, value in row.items()}
