"""Names of lengths as people say them, and sizes as people read them."""

import re
from typing import Final

_SPECIAL: Final = {"feet": "the distance of the inner feet"}
_OF_A_HALF: Final = {"lean": "the lean of the {} half", "clearance": "the clearance at the {} fore edge"}


def spoken(name: str) -> str:
    """Return a name as in a sentence: "leg right" is "the right leg"."""
    if name in _SPECIAL:
        return _SPECIAL[name]
    kind, _, half = name.partition(" ")
    if kind in _OF_A_HALF:
        return _OF_A_HALF[kind].format(half)
    match = re.fullmatch(r"(stage \d+ )?(.+) (left|right)", name)
    if match is None or "=" in name:
        return f"the {name}" if "=" not in name else f'"{name}"'
    stage, what, side = match.groups()
    of_stage = f" of {stage.strip()}" if stage else ""
    return f"the {side} {what}{of_stage}"


def size(value: float, unit: str) -> str:
    """Return a size without its sign: "0.9 mm", "1.2 degrees"."""
    digits = 2 if unit == "mm" and abs(value) < 0.095 else 1
    return f"{abs(value):.{digits}f} {unit}"


def became(kind: str, change: float) -> str:
    """Return what a change means: shorter, longer, more, less."""
    if kind == "length":
        return "longer" if change > 0 else "shorter"
    if kind == "lean":
        return "higher at the outer edge" if change > 0 else "lower at the outer edge"
    return "larger" if change > 0 else "smaller"


def percent(share: float) -> str:
    """Return a share in percent with the digits it deserves."""
    p = 100 * share
    if p < 0.01:
        return "under 0.01 %"
    return f"{p:.2f} %" if p < 1 else f"{p:.1f} %" if p < 10 else f"{p:.0f} %"


def listed(parts: list[str]) -> str:
    """Return "a, b and c"."""
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def capital(text: str) -> str:
    """Return the text with a capital first letter."""
    return text[:1].upper() + text[1:]
