"""The door for tables that people make: a CSV read whole, bounded, as plain text, with the lines told."""

import csv
import unicodedata
from pathlib import Path
from typing import Final

from capture.errors import FoldgaugeError
from capture.files import read_whole
from capture.printable import name_of

LONGEST_CELL: Final = 200
"""Characters; the longest that is wanted is the name of a file (255 bytes on common systems)."""

Row = tuple[int, tuple[str, ...]]
"""Number of a line, 1 first, and its cells without the blanks around them."""


def read_csv(
    path: Path, error: type[FoldgaugeError], what: str, *, most_bytes: int, most_rows: int, marks: str = ","
) -> list[Row]:
    """Read a CSV file, its header included; blank lines are left out.

    Parameters
    ----------
    what : the file holds, for messages: "the manifest".
    marks : that may stand between cells; the one is taken that stands most often in the first line.

    Raises
    ------
    error : one line: the file cannot be read, is no UTF-8 text, or is no table of a sensible size.
    """
    name = name_of(path)
    try:
        text = read_whole(path, most_bytes).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise error(f"{name}: {what} is not UTF-8 text; save it as CSV UTF-8") from None
    except (OSError, ValueError) as err:  # ValueError: a name with a zero byte
        why = getattr(err, "strerror", None) or err
        raise error(f"{name}: {what} cannot be read: {why}") from None
    lines = text.splitlines()
    if not lines:
        return []
    table = csv.reader(lines, delimiter=max(marks, key=lines[0].count))
    rows: list[Row] = []
    try:
        for cells in table:
            row = (table.line_num, tuple(cell.strip() for cell in cells))
            if any(row[1]):
                _check_cells(f"{name}, line {row[0]}", row[1], error)
                rows.append(row)
            if len(rows) > most_rows + 1:
                raise error(f"{name}: more than {most_rows} lines are too many; is it the right file?")
    except csv.Error:  # a cell of more than 131,072 characters
        raise error(f"{name}, line {table.line_num}: no line of a table; is a quote left open?") from None
    return rows


def _check_cells(where: str, cells: tuple[str, ...], error: type[FoldgaugeError]) -> None:
    """Refuse cells that no hand wrote."""
    for cell in cells:
        if len(cell) > LONGEST_CELL:
            raise error(
                f"{where}: a cell of {len(cell)} characters; {LONGEST_CELL} at most make sense. Is a quote "
                "left open?"
            )
        if any(unicodedata.category(c) == "Cc" for c in cell):
            raise error(f"{where}: a cell holds a control character; write it again as plain text")
