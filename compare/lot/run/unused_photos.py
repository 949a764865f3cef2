"""Why a photo of a lot could not be used, and what is to be known about how the photos were found."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NotThere:
    """A line of the manifest names a photo that is not in the folder."""

    manifest: str
    line: int
    folder: str


@dataclass(frozen=True, slots=True)
class OffTheRule:
    """Its name does not follow the rule for names."""

    rule: str


@dataclass(frozen=True, slots=True)
class Unreadable:
    """The file cannot be read; what the system says."""

    detail: str


@dataclass(frozen=True, slots=True)
class SameFile:
    """It is the same file as another photo of the lot, and left out."""

    other: str


@dataclass(frozen=True, slots=True)
class NoMemory:
    """Memory did not suffice for these photos."""

    photos: str


@dataclass(frozen=True, slots=True)
class OwnError:
    """A bug of this program met these photos."""

    photos: str
    what: str


@dataclass(frozen=True, slots=True)
class WorkerDied:
    """The process that checked these photos died."""

    photos: str


Unused = NotThere | OffTheRule | Unreadable | SameFile | NoMemory | OwnError | WorkerDied | str
"""Why a photo was not used; text as the ledger keeps it, where the check refused the photo."""


@dataclass(frozen=True, slots=True)
class NotListed:
    """Photos of the folder that are not in the manifest are left out."""

    manifest: str
    photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoManifest:
    """Every photo is taken for a sample, in the order of their names."""


@dataclass(frozen=True, slots=True)
class Relabelled:
    """Inspections that the ledger held under another lot belong to this one now."""

    count: int
    was: str
    now: str


LotNote = NotListed | NoManifest | Relabelled
"""What the user should know about how the photos were found."""
