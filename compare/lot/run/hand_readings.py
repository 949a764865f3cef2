"""Lengths read by hand on a sample, with a rule or callipers: a CSV with a length per line.

    length, reading, doubt
    leg left, 40.1, 0.1
    plane spacing left, 60.0

The reading is in the unit of the spec (inches also as fractions, 1 9/16); the doubt says by how much it may
be off either way (95 %), `USUAL_DOUBT_MM` if it is not given. A first line of headings may be left out.
"""

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from capture.files import read_whole
from compare.compare_errors import LotError
from compare.units import inches_of, unit_of
from compare.verdict.conformity import COVERAGE

MOST_BYTES: Final = 1_000_000
USUAL_DOUBT_MM: Final = (
    0.3  # a steel rule with half millimetres on a floppy dummy; common practice, no source
)
LONGEST_MM: Final = 2000.0


@dataclass(frozen=True, slots=True)
class HandReading:
    """One length read by hand: its value and standard uncertainty, mm."""

    value: float
    u: float


def _number(text: str) -> float:
    """Return a number, also with a decimal comma or as a fraction of an inch; nan if it is none."""
    fraction = inches_of(text)
    if fraction is not None:
        return fraction
    try:
        return float(text.replace(",", ".").removesuffix("mm").removesuffix("in").strip())
    except ValueError:
        return math.nan


def read_hand_readings(path: Path, units: str) -> Mapping[str, HandReading]:
    """Read what was measured by hand on one sample; length -> reading.

    Parameters
    ----------
    path : of the CSV. units : of the spec, "mm" or "in".

    Raises
    ------
    LotError : the file cannot be read, or a line of it is not understood.
    """
    try:
        text = read_whole(path, MOST_BYTES).decode("utf-8-sig")
    except OSError as err:
        raise LotError(f"{path.name}: the readings cannot be read: {err.strerror}") from None
    except UnicodeDecodeError:
        raise LotError(f"{path.name}: the readings are not UTF-8 text; save them as CSV UTF-8") from None
    lines = text.splitlines()
    mark = max(";\t,", key=lambda c: sum(line.count(c) for line in lines[:3]))
    unit = unit_of(units)
    out: dict[str, HandReading] = {}
    for number, cells in enumerate(csv.reader(lines, delimiter=mark), start=1):
        name, *values = (c.strip() for c in cells) if any(c.strip() for c in cells) else ("",)
        where = f"{path.name}, line {number}"
        if not name or (number == 1 and values and math.isnan(_number(values[0]))):
            continue
        if not 1 <= len(values) <= 2:
            raise LotError(f"{where}: length, reading and doubt are wanted, like 'leg left, 40.1, 0.1'")
        reading = _number(values[0]) * unit.mm
        doubt = _number(values[1]) * unit.mm if values[1:] and values[1] else USUAL_DOUBT_MM
        if not abs(reading) < LONGEST_MM:
            raise LotError(f"{where}: {values[0]!r} is no reading in {unit.name}; write one like 40.1")
        if not 0 < doubt < LONGEST_MM:
            raise LotError(f"{where}: {values[1]!r} is no doubt in {unit.name}; write how far off it may be")
        if name in out:
            raise LotError(f"{where}: {name!r} is read twice")
        out[name] = HandReading(reading, doubt / COVERAGE)
    if not out:
        raise LotError(f"{path.name}: no reading in it; write a line for each length, like 'leg left, 40.1'")
    return out
