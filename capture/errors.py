"""Errors a user can do something about.

Every one carries ONE line: what is wrong, where, and what to do next. The command line prints it and
exits with code 2; any other exception is a bug.
"""


class FoldgaugeError(Exception):
    """Base of all errors caused by the input and not by the program."""


class PhotoError(FoldgaugeError):
    """The photo file cannot be read or cannot carry a measurement."""


class SheetError(FoldgaugeError):
    """The marker sheet is missing from the photo, hidden, or not usable."""
