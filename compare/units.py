"""Showing lengths in the unit the spec is written in; inside everything is millimetres."""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

MM_PER_INCH: Final = 25.4  # exact (international inch, 1959)
FINEST: Final = 64  # parts of an inch on a steel rule
_INCHES: Final = re.compile(r"\s*(?:(\d+)(?:\s+|-))?(\d+)\s*/\s*(\d+)\s*(?:in|\")?\s*")


def inches_of(text: str) -> float | None:
    """Return inches written as a fraction, "1 9/16", "1-9/16" or "9/16"; None if it is none."""
    m = _INCHES.fullmatch(text)
    if m is None or int(m[3]) == 0:
        return None
    return int(m[1] or 0) + int(m[2]) / int(m[3])


def fraction_of(inches: float) -> str:
    """Return inches to the nearest 64th as they stand on a rule: "1 9/16", "3/64", "2"."""
    parts = Fraction(round(abs(inches) * FINEST), FINEST)
    whole, rest = divmod(parts, 1)
    sign = "-" if inches < 0 and parts else ""
    if rest == 0:
        return f"{sign}{whole}"
    return f"{sign}{whole} {rest}" if whole else f"{sign}{rest}"


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

    def known(self, mm: float, expanded_mm: float) -> str:
        """Return a length with its U as a sentence says it: "38.19 ± 0.17 mm", "1 1/2 in (± 1/64 in)"."""
        if self.name == "in":
            return f"{self.words(mm)} (± {self.words(expanded_mm)})"
        return f"{self.number(mm)} ± {self.number(expanded_mm)} {self.name}"

    def span(self, low_mm: float, high_mm: float) -> str:
        """Return from where to where a length may lie: "39.20 to 40.80 mm", "1 1/2 to 1 9/16 in"."""
        if self.name == "in":
            return f"{fraction_of(low_mm / self.mm)} to {fraction_of(high_mm / self.mm)} {self.name}"
        return f"{self.number(low_mm)} to {self.number(high_mm)} {self.name}"

    def plain(self, mm: float) -> str:
        """Return a length as it was drawn, without the unit: no digit too many, a fraction in inches."""
        return fraction_of(mm / self.mm) if self.name == "in" else f"{round(mm, 2) + 0.0:g}"

    def words(self, mm: float) -> str:
        """Return a length as a sentence says it, with the unit."""
        if self.name == "in":
            inches = mm / self.mm
            if 0 < abs(inches) < 0.5 / FINEST:
                return f"less than 1/{FINEST} in"
            return f"{fraction_of(inches)} in"
        return f"{mm / self.mm:.{self.word_decimals}f} {self.name}"


MM: Final = Unit("mm", 1.0, 2, 1)
INCH: Final = Unit("in", MM_PER_INCH, 3, 2)


def unit_of(name: str) -> Unit:
    """Return the unit of a spec ("mm" or "in")."""
    return INCH if name == "in" else MM
