"""A spec written anew: the same values in the usual order, comments kept beside what they belong to."""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from capture.files import read_whole
from compare.design.spec.forms import TOP, Form
from compare.design.spec.source import Source
from compare.design.spec.spec_file import BIGGEST_FILE, read_form
from compare.design.spec.spec_text import text_of

COMMENT_COLUMN: Final = 25
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES: Final = {'"': '\\"', "\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"}


def _text(value: str) -> str:
    """Return a TOML basic string."""
    return '"' + "".join(_ESCAPES.get(c, c) for c in value) + '"'


def _value(value: object) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


class _Comments:
    """Comments of a file, by the line of the key or table they stand beside or above."""

    def __init__(self, text: str, source: Source) -> None:
        self._lines = text.splitlines()
        self._where = source.lines
        self._used: set[int] = set()

    def _comment(self, i: int) -> str:
        """Return the comment of line i (0 first), outside quotes."""
        quote = ""
        for k, c in enumerate(self._lines[i]):
            if quote:
                quote = "" if c == quote else quote
            elif c in "\"'":
                quote = c
            elif c == "#":
                return self._lines[i][k:].rstrip()
        return ""

    def above(self, table: str, key: str) -> list[str]:
        """Return whole-line comments just above a key or table."""
        line = self._where.get((table, key))
        out: list[str] = []
        i = (line or 0) - 2
        while i >= 0 and self._lines[i].lstrip().startswith("#") and i not in self._used:
            out.insert(0, self._lines[i].strip())
            self._used.add(i)
            i -= 1
        return out

    def beside(self, table: str, key: str) -> str:
        """Return the comment on the line of a key or table."""
        line = self._where.get((table, key))
        if line is None or line - 1 in self._used:
            return ""
        self._used.add(line - 1)
        return self._comment(line - 1)

    def rest(self) -> list[str]:
        """Return whole-line comments that belong to nothing."""
        lines = enumerate(self._lines)
        return [s.strip() for i, s in lines if s.lstrip().startswith("#") and i not in self._used]


def _with(line: str, comment: str) -> str:
    return f"{line:<{COMMENT_COLUMN - 1}} {comment}" if comment else line


def _entries(
    out: list[str], comments: _Comments, path: str, table: Mapping[str, Any], order: list[str]
) -> None:
    for key in order:
        if key in table:
            out += comments.above(path, key)
            out.append(_with(f"{_key(key)} = {_value(table[key])}", comments.beside(path, key)))


def _table(
    out: list[str],
    comments: _Comments,
    shown: str,
    path: str,
    form: Form,
    table: Mapping[str, Any],
    many: bool,
) -> None:
    """Write one table and all tables in it; `shown` is its name in the file, `path` with numbers."""
    order = list(table) if form.named is not None else list(form.keys)
    has_keys = any(k in table for k in order) or many or not any(k in table for k in form.tables)
    if has_keys:
        out.append("")
        out += comments.above(path, "")
        out.append(_with(f"[[{shown}]]" if many else f"[{shown}]", comments.beside(path, "")))
        _entries(out, comments, path, table, order)
    for name, inner in form.tables.items():
        if name in table:
            _tables(out, comments, f"{shown}.{name}", f"{path}.{name}", inner, table[name])


def _tables(out: list[str], comments: _Comments, shown: str, path: str, form: Form, value: Any) -> None:
    if not form.many:
        _table(out, comments, shown, path, form, value, False)
        return
    for i, row in enumerate(value, start=1):
        _table(out, comments, shown, f"{path}[{i}]", form, row, True)


def tidy_text(path: str | Path, forms: Mapping[str, Form]) -> str:
    """Return a spec file written anew, unchanged in meaning.

    Raises
    ------
    SpecError : the file cannot be read or its form is wrong.
    """
    _, source = read_form(path, forms)
    text = text_of(source.name, read_whole(Path(path), BIGGEST_FILE))
    data = tomllib.loads(text)  # as written: fractions stay fractions
    comments = _Comments(text, source)
    out: list[str] = []
    _entries(out, comments, "", data, list(TOP))
    for name, form in forms.items():
        if name in data:
            _tables(out, comments, name, name, form, data[name])
    rest = comments.rest()
    if rest:
        out += ["", *rest]
    return "\n".join(out).lstrip("\n") + "\n"
