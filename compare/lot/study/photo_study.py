"""A gauge study of the photo method: from repeated photos, or from a table of readings."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from capture.arrays import Array
from capture.csv_file import read_csv
from compare.compare_errors import LotError, LotOption
from compare.lot.run.samples import Sample
from compare.lot.study.gauge_study import BEARABLE, GOOD, Gauge, average_and_range, crossed

Row = tuple[str, str, float]
"""Person, sample, value."""

MOST_BYTES: Final = 10_000_000
MOST_ROWS: Final = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Studied:
    """One length studied.

    Attributes
    ----------
    width : of its tolerance (upper minus lower limit); nan if none is known.
    u : median standard uncertainty that the single photos claim; nan if unknown.
    by_range : the same by average and range; None with one person.
    """

    name: str
    unit: str
    width: float
    u: float
    gauge: Gauge
    by_range: Gauge | None
    left_out: int

    @property
    def share(self) -> float:
        """Share of the tolerance taken by one photo; nan without tolerance."""
        return self.gauge.share_of_tolerance(self.width) if self.width > 0 else math.nan

    @property
    def word(self) -> str:
        """Return "good", "bearable" or "not good enough" for this tolerance."""
        if math.isnan(self.share):
            share = self.gauge.share_of_total
        else:
            share = self.share
        return "good" if share <= GOOD else "bearable" if share <= BEARABLE else "not good enough"

    @property
    def photos_needed(self) -> int | None:
        """Return the photos per sample that make it bearable; None if no number does."""
        return self.gauge.photos_needed(self.width) if self.width > 0 else None


def table_of_readings(rows: Sequence[Row]) -> tuple[Array, int]:
    """Arrange readings as people x samples x photos; incomplete samples are left out.

    Returns
    -------
    (people, samples, photos) values, and how many samples were left out.

    Raises
    ------
    LotError : fewer than two samples have two photos by everybody.
    """
    cells: dict[tuple[str, str], list[float]] = {}
    for person, sample, value in rows:
        cells.setdefault((person, sample), []).append(value)
    people = list(dict.fromkeys(p for p, _, _ in rows))
    samples = list(dict.fromkeys(s for _, s, _ in rows))
    whole = [s for s in samples if all(len(cells.get((p, s), ())) >= 2 for p in people)]
    if len(whole) < 2:
        raise LotError(
            "a study wants at least two samples that everybody photographed at least twice; "
            f"there are {len(whole)} ({len(samples)} samples, {len(people)} people)"
        )
    photos = min(len(cells[p, s]) for p in people for s in whole)
    table = np.array([[cells[p, s][:photos] for s in whole] for p in people])
    return table, len(samples) - len(whole)


def _studied(name: str, unit: str, width: float, u: float, rows: Sequence[Row]) -> Studied:
    table, left_out = table_of_readings(rows)
    several = len(table) > 1
    return Studied(
        name=name,
        unit=unit,
        width=width,
        u=u,
        gauge=crossed(table),
        by_range=average_and_range(table) if several else None,
        left_out=left_out,
    )


def study_photos(photos: Sequence[Sample], by: str) -> tuple[Studied, ...]:
    """Study every length that all photos show.

    Parameters
    ----------
    photos : one entry per photo. by : column that tells who or what took it.

    Raises
    ------
    LotError : no such column, or too few photos.
    """
    known = {c for s in photos for c in s.labels}
    if by not in known and known:
        there = ", ".join(sorted(known))
        raise LotError(LotOption.BY, f": the manifest has no column {by!r} (it has: {there})")
    good = [s for s in photos if s.readings]
    if not good:
        raise LotError("no photo of the study could be used")
    names = [n for n, r in good[0].readings.items() if r.kind == "length"]
    out: list[Studied] = []
    for name in names:
        seen = [s for s in good if name in s.readings]
        first = seen[0].readings[name]
        rows = [(s.labels.get(by, "all"), s.name, s.readings[name].deviation) for s in seen]
        out.append(
            _studied(
                name,
                first.unit,
                first.high - first.low,
                float(np.median([s.readings[name].u for s in seen])),
                rows,
            )
        )
    return tuple(out)


def read_table(path: Path, by: str) -> Mapping[str, list[Row]]:
    """Read a CSV of readings: the columns `sample`, the one named `by`, and one per length.

    Raises
    ------
    LotError : the file cannot be read or a cell is no number; file and line are told.
    """
    rows = read_csv(path, LotError, "the table", most_bytes=MOST_BYTES, most_rows=MOST_ROWS)
    header = list(rows[0][1]) if rows else []
    for column in ("sample", by):
        if column not in header:
            raise LotError(
                f"{path.name}, line 1: the column {column!r} is missing (it has: {', '.join(header)})"
            )
    out: dict[str, list[Row]] = {h: [] for h in header if h not in ("sample", by)}
    if not out:
        raise LotError(f"{path.name}, line 1: no column of readings beside 'sample' and {by!r}")
    for number, cells in rows[1:]:
        row = dict(zip(header, cells, strict=False))
        for name, values in out.items():
            text = row.get(name, "")
            if not text:
                continue
            try:
                value = float(text)
            except ValueError:
                value = math.nan
            if not math.isfinite(value):
                raise LotError(f"{path.name}, line {number}: {name} is no number: {text!r}")
            values.append((row[by], row["sample"], value))
    return out


def study_table(path: Path, by: str, tolerance: float) -> tuple[Studied, ...]:
    """Study a table of readings; tolerance: plus and minus, nan if none."""
    width = 2 * tolerance
    return tuple(_studied(name, "mm", width, math.nan, rows) for name, rows in read_table(path, by).items())
