"""A spec written anew: the same values in the usual order, comments kept beside what they belong to."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.container import Container
from tomlkit.items import AoT, Comment, InlineTable, Item, Null, Table, Whitespace

from capture.files import read_whole
from compare.design.spec.forms import TOP, Form
from compare.design.spec.spec_file import BIGGEST_FILE, read_form
from compare.design.spec.spec_text import text_of

COMMENT_COLUMN: Final = 25

Place = tuple[str, str]
"""Path of a table ("stage[2].fold", "" above all tables), and a key of it ("": the table itself)."""


@dataclass(slots=True)
class _Comments:
    """Comments of a file by what they belong to.

    Attributes
    ----------
    above : whole lines just above a key or a table. beside : on its own line.
    rest : whole lines that belong to nothing: an empty line follows them.
    """

    above: dict[Place, list[str]] = field(default_factory=dict)
    beside: dict[Place, str] = field(default_factory=dict)
    rest: list[str] = field(default_factory=list)

    def take(self, place: Place, waiting: list[str], item: Item) -> None:
        """Note what stands above and beside a key or a table's head; `waiting` is empty afterwards."""
        self.above.setdefault(place, []).extend(waiting)
        waiting.clear()
        if item.trivia.comment:
            self.beside.setdefault(place, item.trivia.comment.rstrip())

    def gather(self, path: str, container: Container, waiting: list[str]) -> None:
        """Walk through a table; lines at its end wait for the head of the next one."""
        for key, item in container.body:
            if isinstance(item, Whitespace):
                self.rest += waiting
                waiting.clear()
            elif isinstance(item, Comment):
                waiting.append(item.trivia.comment.strip())
            elif isinstance(item, AoT) and key is not None:
                for number, table in enumerate(item.body, start=1):
                    self._gather_table(_joined(path, f"{key.key}[{number}]"), table, waiting)
            elif isinstance(item, Table | InlineTable) and key is not None:
                self._gather_table(_joined(path, key.key), item, waiting)
            elif not isinstance(item, Null) and key is not None:
                self.take((path, key.key), waiting, item)

    def _gather_table(self, path: str, table: Table | InlineTable, waiting: list[str]) -> None:
        if not (isinstance(table, Table) and table.is_super_table()):  # such a one has no head of its own
            self.take((path, ""), waiting, table)
        self.gather(path, table.value, waiting)


def _joined(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _with(line: str, comment: str) -> str:
    return f"{line:<{COMMENT_COLUMN - 1}} {comment}" if comment else line


def _entries(
    out: list[str], comments: _Comments, path: str, table: Mapping[str, Any], order: list[str]
) -> None:
    for key in order:
        if key in table:
            out += comments.above.get((path, key), [])
            line = f"{tomlkit.key(key).as_string()} = {tomlkit.item(table[key]).as_string()}"
            out.append(_with(line, comments.beside.get((path, key), "")))


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
    above = comments.above.get((path, ""), [])
    if has_keys:
        out.append("")
        out += above
        head = f"[[{shown}]]" if many else f"[{shown}]"
        out.append(_with(head, comments.beside.get((path, ""), "")))
        _entries(out, comments, path, table, order)
    elif above:
        out += ["", *above]
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
    comments, waiting = _Comments(), list[str]()
    comments.gather("", tomlkit.parse(text), waiting)
    out: list[str] = []
    _entries(out, comments, "", data, list(TOP))
    for name, form in forms.items():
        if name in data:
            _tables(out, comments, name, name, form, data[name])
    rest = comments.rest + waiting
    if rest:
        out += ["", *rest]
    return "\n".join(out).lstrip("\n") + "\n"
