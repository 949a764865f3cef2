"""Errors of the compare room a user can do something about; each carries one line."""

from enum import Enum

from capture.errors import FoldgaugeError


class SpecError(FoldgaugeError):
    """The design spec cannot be read, or describes something that cannot be built.

    Attributes
    ----------
    place : table and key it is about, for a surface that shows it there; None where no one key is.
    said : the line without the place.
    """

    place: tuple[str, str] | None = None
    said: str = ""

    def at(self, table: str, key: str, where: str) -> "SpecError":
        """Return the error with its place, if it has none yet; `where` is how its line names the place."""
        if self.place is None:
            self.place, self.said = (table, key), str(self).removeprefix(f"{where}: ")
        return self


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
    MASTER = "the master"
    LEDGER = "the ledger"
    SCHEDULER = "the scheduler"
    BY = "who took a photo"
    LENGTH = "the length"


class LotError(FoldgaugeError):
    """A lot, its manifest, its plan or its ledger cannot be used as given."""
