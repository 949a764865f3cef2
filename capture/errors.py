"""Errors a user can do something about.

Every one carries ONE line: what is wrong, where, and what to do next. The command line prints it and
exits with code 2; any other exception is a bug.

What the user may give besides the photo is named in an error by an `Option`, not by the word of one surface:
the command line, a page and a Python program call it differently (`FoldgaugeError.told`).
"""

from collections.abc import Mapping
from enum import Enum


class Option(Enum):
    """Something the user may give; the value is what it is called where no surface has a word of its own."""

    USE = "how the sheet is used"
    USE_ARCH = "arch use"
    USE_BACKDROP = "backdrop use"
    STANDOFF = "the standoff"
    BARS = "the check bars"
    PRINTER = "the printer's file"
    POINTS = "a list of points"
    READING = "a reading by hand"
    LARGER_PAPER = "a3"
    CALIBRATE = "a calibration"
    DRAFT = "a draft"
    FORCE = "explicitly"


class FoldgaugeError(Exception):
    """Base of all errors caused by the input and not by the program.

    Parameters
    ----------
    parts : the line in pieces: text, and the options it speaks of.
    """

    def __init__(self, *parts: str | Enum) -> None:
        super().__init__(*parts)
        self.parts = parts

    def told(self, names: Mapping[Enum, str]) -> str:
        """Return the line with the options called as one surface calls them."""
        return "".join(p if isinstance(p, str) else names.get(p, str(p.value)) for p in self.parts)

    def speaks_of(self, option: Option) -> bool:
        """Return whether the error is about what was given (or not) as this option."""
        return option in self.parts

    def __str__(self) -> str:
        """Return the line in plain words."""
        return self.told({})


class PhotoError(FoldgaugeError):
    """The photo file cannot be read or cannot carry a measurement."""


class SheetError(FoldgaugeError):
    """The marker sheet is missing from the photo, hidden, or not usable."""


class SetupError(FoldgaugeError):
    """What was said about how the photo was taken does not go together, or is not enough."""
