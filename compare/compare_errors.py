"""Errors of the compare room a user can do something about; each carries one line."""

from enum import Enum

from capture.errors import FoldgaugeError


class SpecError(FoldgaugeError):
    """The design spec cannot be read, or describes something that cannot be built."""


class OutputError(FoldgaugeError):
    """A result cannot be written where it was asked for."""


class LotOption(Enum):
    """What the user may give for a lot, as errors and notes speak of it (see `capture.errors.Option`)."""

    MANIFEST = "the manifest"
    NAMING = "the rule for the photos' names"
    SIZE = "the size of the lot"
    AQL = "the AQL"
    LEVEL = "the inspection level"
    TOGETHER = "what was taken together"
    LEDGER = "the ledger"
    SCHEDULER = "the scheduler"
    BY = "who took a photo"
    LENGTH = "the length"


class LotError(FoldgaugeError):
    """A lot, its manifest, its plan or its ledger cannot be used as given."""
