"""Plain values as TOML text: what the desk writes beside the photos can be read and changed by anyone."""

from collections.abc import Mapping
from typing import Any, Final

_ESCAPES: Final = {'"': '\\"', "\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"}


def quoted(text: str) -> str:
    """Return a TOML basic string (TOML 1.0, "String"); what cannot be printed becomes a question mark."""
    out = "".join(_ESCAPES.get(c, c if c.isprintable() else "?") for c in text)
    return f'"{out}"'


def value_text(value: object) -> str:
    """Return one value: text, number, truth value, or a list of those."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_text(v) for v in value) + "]"
    return repr(value)


def toml_text(data: Mapping[str, Any], heading: str = "") -> str:
    """Return a document: plain keys first, then tables, then lists of tables; None is left out."""
    lines = [f"# {heading}"] if heading else []
    plain = {k: v for k, v in data.items() if not isinstance(v, Mapping) and not _is_tables(v)}
    lines += [f"{k} = {value_text(v)}" for k, v in plain.items() if v is not None]
    for name, table in data.items():
        for row in [table] if isinstance(table, Mapping) else table if _is_tables(table) else []:
            head = f"[{name}]" if isinstance(table, Mapping) else f"[[{name}]]"
            lines += ["", head, *(f"{k} = {value_text(v)}" for k, v in row.items() if v is not None)]
    return "\n".join(lines) + "\n"


def _is_tables(value: object) -> bool:
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(v, Mapping) for v in value)
