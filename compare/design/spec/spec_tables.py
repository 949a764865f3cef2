"""The tables of a spec file with their units, and one line for what is missing in them."""

from collections.abc import Mapping
from typing import Any

from compare.compare_errors import SpecError
from compare.design.spec.source import Source
from compare.units import MM_PER_INCH

Table = Mapping[str, Any]


class Tables:
    """The tables with their units."""

    def __init__(self, data: Table, source: Source) -> None:
        self.data, self.source = data, source
        self.scale = MM_PER_INCH if data.get("units", "mm") == "in" else 1.0

    def mm(self, table: Table, key: str, default: float = float("nan")) -> float:
        """Return a length in mm; a default is in mm whatever the file is in."""
        return float(table[key]) * self.scale if key in table else default

    def need(self, path: str, table: Table, *keys: str) -> None:
        """Refuse a table without one of these keys."""
        for key in keys:
            if key not in table:
                where = self.source.where(path)
                raise SpecError(f"{where}: {key!r} is missing").at(path, key, where)

    def fail(self, path: str, key: str, text: str) -> SpecError:
        """Return an error that names the key and its line."""
        where = self.source.where(path, key)
        return SpecError(f"{where}: {text}").at(path, key, where)
