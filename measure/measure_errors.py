"""Errors of measuring that the user can do something about."""

from capture.errors import FoldgaugeError


class MeasureError(FoldgaugeError):
    """The photo shows the sheet but not the dummy that was expected."""


class PointsError(MeasureError):
    """A joint pointed at by hand is unknown, or lies outside the photo."""
