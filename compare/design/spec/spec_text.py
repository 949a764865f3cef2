"""The text of a spec file: how its bytes are read, and what is said where it is no TOML.

Word processors and spreadsheets leave typographic quotes, decimal commas and other encodings behind. Each
gets one sentence that says what to write instead.
"""

import re
from typing import Final

from compare.compare_errors import SpecError

_QUOTES: Final = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb"
_COMMA: Final = re.compile(r"=\s*(-?\d+),(\d+)\s*$")
_FRACTION: Final = re.compile(r"=\s*(\d+\s+\d+/\d+|\d+/\d+)\s*$")
_UNIT: Final = re.compile(r"=\s*(-?[\d.]+)\s*(mm|cm|in|inch|inches|deg|degrees|°|\"|\u2033)\s*$")
_WIDE_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")


def text_of(name: str, raw: bytes) -> str:
    """Return the text of a spec file; a mark at its beginning that says UTF-8 is left out.

    Raises
    ------
    SpecError : another encoding, with how to save it.
    """
    again = "save it again as plain text in UTF-8"
    if raw.startswith(_WIDE_MARKS) or _is_wide(raw[:400]):
        raise SpecError(f"{name}: the file is in UTF-16; {again}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SpecError(f"{name}: not a text file in UTF-8; {again}, a spec is a .toml file") from None


def _is_wide(head: bytes) -> bool:
    """Return whether bytes are text with a zero beside nearly every letter (UTF-16 without its mark)."""
    return any(
        len(head) > 3 and not any(head[zero::2]) and all(9 <= b < 127 for b in head[1 - zero :: 2])
        for zero in (0, 1)
    )


def _code(line: str) -> str:
    """Return a line without its comment."""
    quote = ""
    for i, c in enumerate(line):
        if quote:
            quote = "" if c == quote else quote
        elif c in "\"'":
            quote = c
        elif c == "#":
            return line[:i].rstrip()
    return line.rstrip()


def slip_in(text: str) -> str:
    """Say what to write instead of the first thing that no TOML is; "" if nothing is known.

    Returns
    -------
    "line 7: write 40.5, with a point" ...
    """
    for number, raw in enumerate(text.splitlines(), start=1):
        line = _code(raw)
        said = ""
        if any(c in _QUOTES for c in line):
            straight = line.strip()
            for c in _QUOTES:
                straight = straight.replace(c, '"')
            said = f"curly quotes; write straight ones: {straight}"
        elif m := _COMMA.search(line):
            said = f"a decimal comma; write {m[1]}.{m[2]}"
        elif m := _FRACTION.search(line):
            said = (
                f'a fraction of an inch stands in quotes, with units = "in"; write "{" ".join(m[1].split())}"'
            )
        elif m := _UNIT.search(line):
            said = f"a number stands alone, its unit is said by 'units'; write {m[1]}"
        if said:
            return f"line {number}: {said}"
    return ""
