"""Showing lengths in the unit the spec is written in; inside everything is millimetres."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of length: its name, its size in mm, decimals in tables and in sentences."""

    name: str
    mm: float
    table_decimals: int
    word_decimals: int

    def number(self, mm: float) -> str:
        """Return a length as a table shows it, without the unit."""
        return f"{round(mm / self.mm, self.table_decimals) + 0.0:.{self.table_decimals}f}"

    def signed(self, mm: float) -> str:
        """Return a deviation as a table shows it, with its sign."""
        return f"{round(mm / self.mm, self.table_decimals) + 0.0:+.{self.table_decimals}f}"

    def words(self, mm: float) -> str:
        """Return a length as a sentence says it, with the unit."""
        return f"{mm / self.mm:.{self.word_decimals}f} {self.name}"


MM: Final = Unit("mm", 1.0, 2, 1)
INCH: Final = Unit("in", 25.4, 3, 2)


def unit_of(name: str) -> Unit:
    """Return the unit of a spec ("mm" or "in")."""
    return INCH if name == "in" else MM
