"""A spec's text changed value by value: everything else in it, comments too, stays as the user wrote it."""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from compare.design.constructions.registry import FORMS
from compare.design.spec.forms import TOP, Form, Key, Kind
from compare.design.spec.spec_file import key_lines
from compare.desk.desk_errors import DeskError
from compare.desk.project.toml_text import quoted, value_text
from compare.units import MM_PER_INCH, fraction_of, inches_of

Place = tuple[str, str]
"""Table and key, as `compare.design.spec.source.Source` counts them: ("right.legs[2]", "leg")."""

_VALUE: Final = re.compile(r"^(\s*[\w\"'.-]+\s*=\s*)([^#]*?)(\s*(?:#.*)?)$")
NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")


@dataclass(frozen=True, slots=True)
class Field:
    """One value of a spec that a form can change.

    Attributes
    ----------
    table, key : where it stands. text : its value as typed. about : what the key is.
    """

    table: str
    key: str
    text: str
    about: Key

    @property
    def name(self) -> str:
        """Return what it is called in a form."""
        return f"{self.table}.{self.key}" if self.table else self.key

    @property
    def is_angle(self) -> bool:
        """True for degrees."""
        return self.about.kind.is_angle


def fields_of(text: str) -> list[Field]:
    """Return the values a form can change, in the order of the file; names and lists are left to the text.

    Raises
    ------
    DeskError : the text is no TOML.
    """
    data = tables_of(text)
    out = [
        Field("", key, str(data.get(key, "")), about) for key, about in TOP.items() if key not in ("units",)
    ]
    for name, form in FORMS.items():
        if name in data:
            out += _fields(name, form, data[name])
    return out


def tables_of(text: str) -> dict[str, Any]:
    """Return the tables of a text.

    Raises
    ------
    DeskError : it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as err:
        raise DeskError(f"the file is not valid TOML: {' '.join(str(err).split())[:200]}") from None


def _fields(path: str, form: Form, value: Any) -> Iterator[Field]:
    rows = value if isinstance(value, list) else [value]
    for number, row in enumerate(rows, start=1):
        here = f"{path}[{number}]" if isinstance(value, list) else path
        if not isinstance(row, Mapping):
            continue
        for key, about in form.keys.items():
            if key in row and about.kind not in (Kind.NAMES, Kind.POINT):
                yield Field(here, key, _shown(row[key]), about)
        for key, inner in form.tables.items():
            if key in row and inner.named is None:
                yield from _fields(f"{here}.{key}", inner, row[key])


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def typed_value(typed: str, about: Key) -> str:
    """Return what somebody typed as the text of a TOML value: decimal commas, fractions of an inch."""
    words = " ".join(typed.split())
    if not about.kind.is_number:
        return quoted(words)
    plain = words.replace(",", ".")
    if NUMBER.fullmatch(plain):
        number = float(plain)
        return value_text(int(number) if number == int(number) and abs(number) < 1e9 else number)
    if inches_of(words) is not None:
        return quoted(words)
    return quoted(words)  # no number: the check of the spec says so, at this key


def with_values(text: str, values: Mapping[Place, str]) -> str:
    """Return the text with these values (as TOML) in place of what stands there; new ones go in.

    Raises
    ------
    DeskError : a key stands where it cannot be changed by itself, or its table is not there.
    """
    lines = text.splitlines()
    where = key_lines(text)
    added: list[tuple[int, str]] = []
    for (table, key), value in values.items():
        at = where.get((table, key))
        if at is None:
            head = where.get((table, "")) if table else 0
            if head is None:
                raise DeskError(f"[{table}] is not in the file; change its text instead")
            added.append((head, f"{key} = {value}"))
            continue
        found = _VALUE.match(lines[at - 1])
        if found is None or "{" in lines[at - 1]:
            raise DeskError(f"line {at} cannot be changed by this form; change the file's text instead")
        lines[at - 1] = f"{found[1]}{value}{found[3]}"
    for at, line in sorted(added, reverse=True):
        lines.insert(at, line)
    return "\n".join(lines) + "\n"


MM_FOR: Final = 32.0  # parts of an inch that a millimetre of a start becomes: sums of whole ones still close


def in_inches(text: str) -> str:
    """Return a spec in mm as one in inches: a thirty-second for each mm, thickness and tolerance as they are.

    It is a dummy of four fifths of the size, but its lengths are on the rule and its sums close.
    """
    values: dict[Place, str] = {("", "units"): '"in"'}
    for field in fields_of(text):
        if field.about.kind.is_number and not field.is_angle:
            mm = float(field.text)
            if field.about.kind in (Kind.SMALL, Kind.BAND, Kind.SPREAD):
                told = f"{mm / MM_PER_INCH:.3f}"
            elif mm < 0 or mm != int(mm):
                told = f"{mm / MM_FOR:.5g}"
            else:
                told = fraction_of(mm / MM_FOR)
            values[field.table, field.key] = typed_value(told, field.about)
    return with_values(text, values)


def typed_values(fields: Sequence[Field], typed: Mapping[str, str]) -> dict[Place, str]:
    """Return the values that a form changed."""
    return {
        (f.table, f.key): typed_value(typed[f.name], f.about)
        for f in fields
        if f.name in typed and typed[f.name].strip() != f.text
    }
