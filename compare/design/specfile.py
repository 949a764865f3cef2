"""Reading a spec file: TOML, known keys only, plain numbers, one line for whatever is wrong.

This module knows the form of the file (tables, keys, kinds of value, line numbers); what the numbers mean
is the business of `compare.design.spec`.
"""

import difflib
import hashlib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any, Final

import msgspec

from compare.errors import SpecError

BIGGEST_FILE: Final = 1_000_000  # bytes; a spec has about thirty lines
MM_PER_INCH: Final = 25.4  # exact (international inch, 1959)


class Kind(Enum):
    """What a value is, with what is allowed (mm or degrees) and how a message puts it."""

    LENGTH = (0.5, 1000.0, "a length")
    SMALL = (0.02, 10.0, "a thickness")
    SPREAD = (0.0, 20.0, "a spread (0 or more)")
    BAND = (0.005, 100.0, "a tolerance")
    OPENING = (10.0, 180.0, "an angle in degrees")
    ANGLE = (0.01, 45.0, "an angle in degrees")


KEYS: Final[Mapping[str, Mapping[str, Kind]]] = {
    "base": {
        "page": Kind.LENGTH,
        "page_left": Kind.LENGTH,
        "page_right": Kind.LENGTH,
        "depth": Kind.LENGTH,
        "opening": Kind.OPENING,
        "thickness": Kind.SMALL,
    },
    "card": {"thickness": Kind.SMALL, "strip_depth": Kind.LENGTH, "near_end_spread": Kind.SPREAD},
    "fold": {k: Kind.LENGTH for k in ("left", "right", "foot_left", "foot_right")},
    "left": {k: Kind.LENGTH for k in ("leg", "page_spacing", "plane_spacing")},
    "right": {k: Kind.LENGTH for k in ("leg", "page_spacing", "plane_spacing")},
    "plane": {k: Kind.LENGTH for k in ("left", "right")},
    "tolerance": {"length": Kind.BAND, "matched": Kind.BAND, "level": Kind.ANGLE, "clearance": Kind.BAND},
}
TOP: Final = ("title", "units")
MAY_BE_ZERO: Final = {("plane", "left"), ("plane", "right")}  # a one-sided plane may say so with a 0


class BaseTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[base] as written (own units)."""

    page: float | None = None
    page_left: float | None = None
    page_right: float | None = None
    depth: float | None = None
    opening: float = 180.0
    thickness: float | None = None


class CardTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[card] as written."""

    thickness: float | None = None
    strip_depth: float | None = None
    near_end_spread: float | None = None


class FoldTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[fold] as written."""

    left: float
    right: float
    foot_left: float
    foot_right: float


class SideTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[left] or [right] as written."""

    leg: float
    page_spacing: float
    plane_spacing: float


class PlaneTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[plane] as written."""

    left: float = 0.0
    right: float = 0.0


class ToleranceTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[tolerance] as written."""

    length: float | None = None
    matched: float | None = None
    level: float | None = None
    clearance: float | None = None


class SpecTables(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The whole file as written."""

    base: BaseTable
    fold: FoldTable
    plane: PlaneTable
    title: str = ""
    units: str = "mm"
    card: CardTable = msgspec.field(default_factory=CardTable)
    left: SideTable | None = None
    right: SideTable | None = None
    tolerance: ToleranceTable = msgspec.field(default_factory=ToleranceTable)


REQUIRED: Final[Mapping[str, tuple[str, ...]]] = {
    "base": (),
    "fold": ("left", "right", "foot_left", "foot_right"),
    "plane": (),
    "left": ("leg", "page_spacing", "plane_spacing"),
    "right": ("leg", "page_spacing", "plane_spacing"),
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where the values came from, for messages: file name and the line of each key.

    Attributes
    ----------
    name : file name without folders.
    lines : (table, key) -> line number, 1 first; ("base", "") is the table's own line, ("", "units") a
        key above all tables.
    sha256 : hash of the file's bytes.
    """

    name: str
    lines: Mapping[tuple[str, str], int]
    sha256: str

    def where(self, table: str, key: str = "") -> str:
        """Return e.g. "spread.toml, line 7, [right] leg"; the line is left out where it is not known."""
        line = self.lines.get((table, key)) or self.lines.get((table, ""))
        spot = f"[{table}] {key}".strip() if table else key
        return f"{self.name}, line {line}, {spot}" if line else f"{self.name}, {spot}"


def key_lines(text: str) -> dict[tuple[str, str], int]:
    """Line numbers of tables and keys of a TOML text; best effort (tomllib does not tell them)."""
    out: dict[tuple[str, str], int] = {}
    table = ""
    for i, raw in enumerate(text.splitlines(), start=1):
        line = raw.split("#", 1)[0].strip()
        if m := re.fullmatch(r"\[\s*([\w.-]+)\s*\]", line):
            table = m.group(1)
            out.setdefault((table, ""), i)
        elif m := re.match(r"([\w-]+)\s*\.\s*([\w-]+)\s*=", line):
            out.setdefault((m.group(1), m.group(2)), i)
        elif m := re.match(r"[\"']?([\w-]+)[\"']?\s*=\s*(\{.*)?", line):
            out.setdefault((table, m.group(1)), i)
            if m.group(2) and not table:
                out.setdefault((m.group(1), ""), i)
                for key in re.findall(r"([\w-]+)\s*=", m.group(2)):
                    out.setdefault((m.group(1), key), i)
    return out


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _shown(value: object) -> str:
    text = _one_line(repr(value))
    return text if len(text) <= 40 else text[:37] + "..."


def _near(word: str, known: list[str]) -> str:
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"; did you mean {close[0]!r}?" if close else f"; known here: {', '.join(known)}"


def _home_of(key: str) -> str:
    """Say where a key would belong that stands in the wrong table."""
    homes = [t for t, keys in KEYS.items() if key in keys]
    return f"; {key!r} belongs in [{homes[0]}]" if homes else ""


def _check_number(source: Source, table: str, key: str, value: object, units: str) -> None:
    kind = KEYS[table][key]
    low, high, what = kind.value
    angle = kind in (Kind.OPENING, Kind.ANGLE)
    unit = "degrees" if angle else units
    scale = 1.0 if angle or units == "mm" else MM_PER_INCH
    where = source.where(table, key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SpecError(f"{where}: {what} must be a plain number in {unit}, got {_shown(value)}")
    if value == 0 and (table, key) in MAY_BE_ZERO:
        return
    if not math.isfinite(value) or not low <= value * scale <= high:
        allowed = f"{low / scale:.4g} to {high / scale:.4g} {unit}"
        raise SpecError(f"{where}: {what} of {allowed} is wanted, got {_shown(value)}")


def check_form(source: Source, data: Mapping[str, Any]) -> None:
    """Refuse unknown and missing keys, wrong kinds and absurd numbers.

    Raises
    ------
    SpecError : with file, line, key, what came and what is allowed.
    """
    tables = list(KEYS)
    for name, value in data.items():
        if name in TOP:
            if not isinstance(value, str):
                raise SpecError(f"{source.where('', name)}: text in quotes is wanted, got {_shown(value)}")
        elif name not in KEYS:
            kind = "table" if isinstance(value, dict) else "key"
            shown = f"[{name}]" if kind == "table" else name
            home = "" if kind == "table" else _home_of(name)
            line = source.lines.get((name, "")) or source.lines.get(("", name))
            spot = f"{source.name}, line {line}" if line else source.name
            raise SpecError(f"{spot}: unknown {kind} {shown}{home or _near(name, [*tables, *TOP])}")
        elif not isinstance(value, dict):
            raise SpecError(
                f"{source.where('', name)}: [{name}] must be a table of keys, got {_shown(value)}"
            )
    units = data.get("units", "mm")
    if units not in ("mm", "in"):
        raise SpecError(f'{source.where("", "units")}: units must be "mm" or "in", got {_shown(units)}')
    for table, keys in KEYS.items():
        for key, value in data.get(table, {}).items():
            if key not in keys:
                near = difflib.get_close_matches(key, list(keys), n=1, cutoff=0.5)
                hint = _near(key, list(keys)) if near else (_home_of(key) or _near(key, list(keys)))
                raise SpecError(f"{source.where(table, key)}: unknown key{hint}")
            _check_number(source, table, key, value, units)
    for table, needed in REQUIRED.items():
        if table not in data:
            if table in ("left", "right"):
                continue
            raise SpecError(f"{source.name}: the table [{table}] is missing")
        for key in needed:
            if key not in data[table]:
                raise SpecError(f"{source.where(table)}: {key!r} is missing")


def read_tables(path: str | Path) -> tuple[SpecTables, Source]:
    """Read and check a spec file; values stay in the file's own units.

    Raises
    ------
    SpecError : the file is missing, is not TOML, or its form is wrong.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise SpecError(f"{path.name}: this is a folder; a spec is a .toml file")
        size = path.stat().st_size
        if size > BIGGEST_FILE:
            raise SpecError(f"{path.name}: {size} bytes is too large for a spec; is it the right file?")
        raw = path.read_bytes()
    except OSError as err:
        raise SpecError(f"{path.name}: the spec cannot be read: {err.strerror or err}") from None
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise SpecError(f"{path.name}: not a text file in UTF-8; a spec is a .toml file") from None
    source = Source(path.name, key_lines(text), hashlib.sha256(raw).hexdigest())
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as err:
        raise SpecError(f"{path.name}: not valid TOML: {_one_line(str(err))}") from None
    check_form(source, data)
    try:
        return msgspec.convert(data, SpecTables), source
    except msgspec.ValidationError as err:  # the walk above should have told it better
        raise SpecError(f"{path.name}: {_one_line(str(err))}") from None
