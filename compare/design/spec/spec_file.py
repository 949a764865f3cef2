"""Reading a spec file: TOML, known keys only, plain numbers, one line for whatever is wrong.

This module knows how a file is read and checked against its form (`compare.design.spec.forms`); what the
numbers mean is the business of `compare.design.spec.spec`.
"""

import datetime
import difflib
import hashlib
import re
import reprlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from capture.files import FileBytes, read_whole
from capture.printable import name_of
from compare.compare_errors import SpecError
from compare.design.spec.forms import TOP, Form, Key, Kind
from compare.design.spec.source import Source
from compare.design.spec.spec_text import slip_in, text_of
from compare.units import MM_PER_INCH, inches_of

BIGGEST_FILE: Final = 1_000_000  # bytes; a spec has about thirty lines
MOST_NAMES: Final = 60  # of a list of names
TEXT_KEYS: Final = frozenset({"title", "name", "paper", "joints"})  # texts, whatever they look like
LONGEST_NAME: Final = 60
MOST_NUMBER: Final = 1e9  # beyond it no bound of a key lies, and an integer may be too long for a float
Forms = Mapping[str, Form]


def key_lines(text: str) -> dict[tuple[str, str], int]:
    """Line numbers of tables and keys of a TOML text; best effort (tomllib does not tell them)."""
    out: dict[tuple[str, str], int] = {}
    counts: dict[str, int] = {}  # how often a repeated table has stood so far, by its numbered path
    table = ""

    def numbered(path: str, again: bool) -> str:
        """Return the path with the number of each repeated table in it."""
        done = ""
        parts = path.split(".")
        for k, part in enumerate(parts):
            done = f"{done}.{part}" if done else part
            if again and k == len(parts) - 1:
                counts[done] = counts.get(done, 0) + 1
            if done in counts:
                done = f"{done}[{counts[done]}]"
        return done

    for i, raw in enumerate(text.splitlines(), start=1):
        line = raw.split("#", 1)[0].strip()
        if m := re.fullmatch(r"\[\[\s*([\w.-]+)\s*\]\]", line):
            table = numbered(m.group(1), again=True)
            out.setdefault((table, ""), i)
        elif m := re.fullmatch(r"\[\s*([\w.-]+)\s*\]", line):
            table = numbered(m.group(1), again=False)
            out.setdefault((table, ""), i)
        elif m := re.match(r"([\w-]+)\s*\.\s*([\w-]+)\s*=", line):
            out.setdefault((m.group(1), m.group(2)), i)
        elif m := re.match(r"(?:\"([^\"]*)\"|'([^']*)'|([\w-]+))\s*=\s*(\{.*)?", line):
            name = m.group(1) or m.group(2) or m.group(3) or ""
            out.setdefault((table, name), i)
            if m.group(4) and not table:
                out.setdefault((name, ""), i)
                for key in re.findall(r"([\w-]+)\s*=", m.group(4)):
                    out.setdefault((name, key), i)
    return out


def _one_line(text: str) -> str:
    return " ".join(text.split())


_SHORT: Final = reprlib.Repr()  # also of what is nested deeper than Python's own repr bears
_SHORT.maxstring = _SHORT.maxlong = _SHORT.maxother = 2 * LONGEST_NAME


def _shown(value: object) -> str:
    plain = isinstance(value, datetime.date | datetime.time)
    text = _one_line(str(value) if plain else _SHORT.repr(value))
    return text if len(text) <= 40 else text[:37] + "..."


def _near(word: str, known: list[str]) -> str:
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"; did you mean {close[0]!r}?" if close else f"; known here: {', '.join(known)}"


def _home_of(key: str, forms: Forms) -> str:
    """Say where a key would belong that stands in the wrong table."""
    homes = [t for t, form in forms.items() if key in form.keys]
    return f"; {key!r} belongs in [{homes[0]}]" if homes else ""


def _check_number(where: str, key: Key, value: object, units: str) -> None:
    low, high, what = key.kind.value
    unit = "degrees" if key.kind.is_angle else units
    scale = 1.0 if key.kind.is_angle or units == "mm" else MM_PER_INCH
    if isinstance(value, str) and units == "in" and not key.kind.is_angle:
        value = inches_of(value) if inches_of(value) is not None else value
    if isinstance(value, bool) or not isinstance(value, int | float):
        if isinstance(value, str) and inches_of(value) is not None:
            raise SpecError(f'{where}: a fraction is in inches; say units = "in", or give {unit}')
        raise SpecError(f"{where}: {what} must be a plain number in {unit}, got {_shown(value)}")
    if value == 0 and key.zero:
        return
    if abs(value) > MOST_NUMBER or not low <= value * scale <= high:  # also inf, nan, and 400 digits
        allowed = f"{low / scale:.4g} to {high / scale:.4g} {unit}"
        raise SpecError(f"{where}: {what} of {allowed} is wanted, got {_shown(value)}")


def _check_name(where: str, value: object) -> None:
    if not isinstance(value, str):
        raise SpecError(f"{where}: text in quotes is wanted, got {_shown(value)}")
    if not value.strip() or len(value) > LONGEST_NAME or not value.isprintable():
        raise SpecError(
            f"{where}: a name of 1 to {LONGEST_NAME} plain characters is wanted, got {_shown(value)}"
        )


def _check_value(where: str, key: Key, value: object, units: str) -> None:
    """Refuse a value of the wrong kind or size."""
    if key.kind.is_number:
        _check_number(where, key, value, units)
    elif key.kind is Kind.POINT:
        if not isinstance(value, list) or len(value) != 2:
            raise SpecError(f"{where}: {key.kind.value[2]} in {units} is wanted, got {_shown(value)}")
        for number in value:
            _check_number(where, key, number, units)
    elif key.kind is Kind.NAMES:
        if not isinstance(value, list) or not 2 <= len(value) <= MOST_NAMES:
            raise SpecError(f"{where}: a list of 2 or more names in quotes is wanted, got {_shown(value)}")
        for name in value:
            _check_name(where, name)
    elif key.choices and value not in key.choices:
        raise SpecError(f"{where}: one of {', '.join(key.choices)} is wanted, got {_shown(value)}")
    else:
        _check_name(where, value)


def _check_table(source: Source, path: str, form: Form, table: object, units: str, forms: Forms) -> None:
    """Check one table and all in it."""
    if not isinstance(table, dict):
        raise SpecError(f"{source.where('', path)}: [{path}] must be a table of keys, got {_shown(table)}")
    for key, value in table.items():
        if key in form.tables:
            _check_tables(source, f"{path}.{key}", form.tables[key], value, units, forms)
            continue
        where = source.where(path, key)
        try:
            _check_key(where, form, key, value, units, forms)
        except SpecError as err:
            raise err.at(path, key, where) from None
    for key, about in form.keys.items():
        if about.required and key not in table:
            where = source.where(path)
            raise SpecError(f"{where}: {key!r} is missing").at(path, key, where)


def _check_key(where: str, form: Form, key: str, value: object, units: str, forms: Forms) -> None:
    """Check one key of a table that is no table itself."""
    if form.named is not None:
        _check_name(where, key)
        _check_value(where, form.named, value, units)
    elif key not in form.keys:
        known = [*form.keys, *form.tables]
        near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
        hint = _near(key, known) if near else (_home_of(key, forms) or _near(key, known))
        raise SpecError(f"{where}: unknown key{hint}")
    else:
        _check_value(where, form.keys[key], value, units)


def _check_tables(source: Source, path: str, form: Form, value: object, units: str, forms: Forms) -> None:
    """Check a table, or each of several."""
    if not form.many:
        _check_table(source, path, form, value, units, forms)
        return
    if not isinstance(value, list) or not value:
        spot = source.where(path) if (path, "") in source.lines else source.where("", path)
        raise SpecError(f"{spot}: write [[{path}]], it may stand several times")
    if len(value) > form.most:
        raise SpecError(
            f"{source.where(f'{path}[{form.most + 1}]')}: at most {form.most} of them are possible, got "
            f"{len(value)}; is it the right file?"
        )
    for i, row in enumerate(value, start=1):
        _check_table(source, f"{path}[{i}]", form, row, units, forms)


def check_form(source: Source, data: Mapping[str, Any], forms: Forms) -> None:
    """Refuse unknown and missing keys, wrong kinds and absurd numbers.

    Raises
    ------
    SpecError : with file, line, key, what came and what is allowed.
    """
    for name, value in data.items():
        if name in TOP:
            if not isinstance(value, str):
                raise SpecError(f"{source.where('', name)}: text in quotes is wanted, got {_shown(value)}")
        elif name not in forms:
            kind = "table" if isinstance(value, dict | list) else "key"
            short = name if len(name) <= LONGEST_NAME else f"{name[:LONGEST_NAME]}..."
            shown = f"[{short}]" if kind == "table" else short
            home = "" if kind == "table" else _home_of(name, forms)
            line = source.lines.get((name, "")) or source.lines.get(("", name))
            spot = f"{source.name}, line {line}" if line else source.name
            raise SpecError(f"{spot}: unknown {kind} {shown}{home or _near(name, [*forms, *TOP])}")
    units = data.get("units", "mm")
    if units not in ("mm", "in"):
        raise SpecError(f'{source.where("", "units")}: units must be "mm" or "in", got {_shown(units)}')
    for name, form in forms.items():
        if name in data:
            _check_tables(source, name, form, data[name], units, forms)


def read_form(file: str | Path | FileBytes, forms: Forms) -> tuple[dict[str, Any], Source]:
    """Read a spec file and check its form; values stay as written, in the file's own units.

    Raises
    ------
    SpecError : the file is missing, is not TOML, or its form is wrong.
    """
    name, raw = (file.name, file.data) if isinstance(file, FileBytes) else _read(Path(file))
    text = text_of(name, raw)
    source = Source(name, key_lines(text), hashlib.sha256(raw).hexdigest())
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as err:  # ValueError also: a number of thousands of digits
        slip = slip_in(text)
        raise SpecError(
            f"{name}, {slip}" if slip else f"{name}: not valid TOML: {_one_line(str(err))}"
        ) from None
    check_form(source, data, forms)
    return _numbers(data), source


def _numbers(value: Any) -> Any:
    """Return checked tables with fractions of an inch as numbers; texts that are none stay as they are."""
    if isinstance(value, dict):
        return {k: v if k in TEXT_KEYS else _numbers(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_numbers(v) for v in value]
    if isinstance(value, str) and (inches := inches_of(value)) is not None:
        return inches
    return value


def _read(path: Path) -> tuple[str, bytes]:
    """Return a spec file's name and content."""
    try:
        if path.is_file() and path.stat().st_size > BIGGEST_FILE:
            size = path.stat().st_size
            raise SpecError(f"{path.name}: {size} bytes is too large for a spec; is it the right file?")
        return name_of(path), read_whole(path, BIGGEST_FILE)
    except IsADirectoryError:
        raise SpecError(f"{path.name}: this is a folder; a spec is a .toml file") from None
    except (OSError, ValueError) as err:  # ValueError: a name with a zero byte
        why = getattr(err, "strerror", None) or err
        raise SpecError(f"{path.name}: the spec cannot be read: {why}") from None
