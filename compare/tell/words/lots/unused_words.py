"""Why photos of a lot could not be used, and how they were found, in words."""

from collections.abc import Iterable
from typing import Final

from compare.lot.run.unused_photos import (
    LotNote,
    NoManifest,
    NoMemory,
    NotListed,
    NotThere,
    OffTheRule,
    OwnError,
    Relabelled,
    SameFile,
    Unreadable,
    Unused,
    WorkerDied,
)

NAMED: Final = 3  # photos that are left out and told by name


def unused_words(why: Unused) -> str:
    """Return why a photo was not used, without capital and full stop."""
    match why:
        case NotThere(manifest, line, folder):
            return f"{manifest}, line {line}: there is no such photo in {folder}"
        case OffTheRule(rule):
            return f"its name does not follow {rule!r}"
        case Unreadable(detail):
            return f"cannot be read: {detail}"
        case SameFile(other):
            return f"is the same file as {other}: left out"
        case NoMemory(photos):
            return f"{photos}: not enough memory for this photo"
        case OwnError(photos, what):
            return f"{photos}: an error inside foldgauge ({what}); please report it"
        case WorkerDied(photos):
            return f"{photos}: the process that checked it died (memory, or a broken library)"
        case str():
            return why


def told_unused(problems: Iterable[tuple[str, Unused]]) -> list[tuple[str, str]]:
    """Return (photo, reason in words) of photos that could not be used."""
    return [(photo, unused_words(why)) for photo, why in problems]


def lot_note(note: LotNote) -> str:
    """Return what is to be known about how the photos were found, one sentence."""
    match note:
        case NotListed(manifest, photos):
            more = "" if len(photos) <= NAMED else f" and {len(photos) - NAMED} more"
            return f"Not in {manifest}, so left out: {', '.join(photos[:NAMED])}{more}."
        case NoManifest():
            return "No manifest: every photo is taken for a sample, in the order of their names."
        case Relabelled(count, was, now):
            return f"{count} inspections of lot {was!r} belong to lot {now!r} now."
