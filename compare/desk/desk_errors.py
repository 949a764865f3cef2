"""Errors of the desk: one line each, as everywhere in the house."""

from capture.errors import FoldgaugeError


class DeskError(FoldgaugeError):
    """The folder, or what was sent to the desk, cannot be used as it is."""
