"""Names as they may be shown: whatever a file is called, it moves no cursor and breaks no encoding."""

from pathlib import Path


def printable(text: str) -> str:
    """Return the text with "?" for control characters and for bytes that are no text, spaces for line ends.

    Control characters (escape among them) would steer a terminal; bytes of a file name that are not UTF-8
    stand in a Python string as lone surrogates (PEP 383), which no output can take.
    """
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)


def name_of(path: str | Path) -> str:
    """Return a file's name, without its folders, as it may be shown."""
    return printable(Path(path).name)
