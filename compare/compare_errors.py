"""Errors of the compare room a user can do something about; each carries one line."""

from capture.errors import FoldgaugeError


class SpecError(FoldgaugeError):
    """The design spec cannot be read, or describes something that cannot be built."""


class OutputError(FoldgaugeError):
    """A result cannot be written where it was asked for."""


class LotError(FoldgaugeError):
    """A lot, its manifest, its plan or its ledger cannot be used as given."""
