"""The form of a spec file as JSON Schema (draft 2020-12), for editors that complete and check TOML."""

import json
from collections.abc import Mapping
from typing import Any, Final

from compare.design.spec.forms import TOP, Form, Key, Kind
from compare.units import MM_PER_INCH

FRACTION: Final = r"^([0-9]+[ -])?[0-9]+/[1-9][0-9]*$"
"""Inches as on a rule: "1 9/16"."""


def _value(key: Key) -> dict[str, Any]:
    """Return the schema of one value."""
    out: dict[str, Any] = {"description": key.meaning}
    low, high, _ = key.kind.value
    if key.kind is Kind.POINT:
        number = {"type": "number", "minimum": low, "maximum": high}
        return out | {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
    if key.kind is Kind.NAMES:
        return out | {"type": "array", "items": {"type": "string", "minLength": 1}, "minItems": 2}
    if not key.kind.is_number:
        return out | {"type": "string"} | ({"enum": list(key.choices)} if key.choices else {})
    # one schema serves files in mm and in inches, so lengths may be as small as the least in inches
    least = low if key.kind.is_angle or low <= 0 else low / MM_PER_INCH
    number = {"type": "number", "minimum": round(least, 6), "maximum": high}
    if key.kind.is_angle:
        return out | ({"anyOf": [{"const": 0}, number]} if key.zero else number)
    fraction = {"type": "string", "pattern": FRACTION}
    return out | {"anyOf": [*([{"const": 0}] if key.zero else []), number, fraction]}


def _table(form: Form) -> dict[str, Any]:
    """Return the schema of one table."""
    out: dict[str, Any] = {"type": "object", "description": form.meaning}
    if form.named is not None:
        return out | {"additionalProperties": _value(form.named)}
    properties = {k: _value(v) for k, v in form.keys.items()}
    properties |= {k: _tables(v) for k, v in form.tables.items()}
    required = [k for k, v in form.keys.items() if v.required]
    return (
        out
        | {"properties": properties, "additionalProperties": False}
        | ({"required": required} if required else {})
    )


def _tables(form: Form) -> dict[str, Any]:
    """Return the schema of a table, or of a list of them."""
    return {"type": "array", "minItems": 1, "items": _table(form)} if form.many else _table(form)


def schema(forms: Mapping[str, Form]) -> dict[str, Any]:
    """Return the JSON Schema of a spec file.

    It knows tables, keys, kinds, bounds and choices; what goes together, and whether it can be built, only
    `load_spec` tells.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "foldgauge design spec",
        "type": "object",
        "properties": {k: _value(v) for k, v in TOP.items()} | {k: _tables(v) for k, v in forms.items()},
        "additionalProperties": False,
        "required": ["base"],
    }


def schema_text(forms: Mapping[str, Form]) -> str:
    """Return the schema as text."""
    return json.dumps(schema(forms), indent=2)
