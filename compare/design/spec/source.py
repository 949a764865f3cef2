"""Where the values of a spec came from, for messages and the record."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

LONGEST_KEY: Final = 80
"""Characters of a key that a message shows; the longest name of a length has about thirty."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where the values came from, for messages: file name and the line of each key.

    Attributes
    ----------
    name : file name without folders.
    lines : (table, key) -> line number, 1 first; ("base", "") is the table's own line, ("", "units") a
        key above all tables; the second of several tables is "stage[2]".
    sha256 : hash of the file's bytes.
    """

    name: str
    lines: Mapping[tuple[str, str], int]
    sha256: str

    def where(self, table: str, key: str = "") -> str:
        """Return e.g. "spread.toml, line 7, [right] leg"; the line is left out where it is not known."""
        line = self.lines.get((table, key)) or self.lines.get((table, ""))
        key = key if len(key) <= LONGEST_KEY else f"{key[:LONGEST_KEY]}..."
        spot = f"[{table}] {key}".strip() if table else key
        return f"{self.name}, line {line}, {spot}" if line else f"{self.name}, {spot}"
