"""What changed since an earlier check, in words."""

from typing import Any, Final

from compare.jobs.before_after import Change, Changes
from compare.tell.words.name_words import spoken
from compare.units import Unit, unit_of
from compare.verdict.conformity import COVERAGE
from compare.vocabulary import parsed

MOST_TOLD: Final = 6


def _size(value: float, change: Change, unit: Unit) -> str:
    return f"{abs(value):.1f} degrees" if change.item.unit == "deg" else unit.words(abs(value))


def _told(change: Change, unit: Unit) -> str:
    how = "more" if change.amount > 0 else "less"
    size, doubt = (_size(x, change, unit) for x in (change.amount, COVERAGE * change.u))
    return f"{spoken(change.item.name)} {size} {how} (within {doubt})"


def change_sentences(changes: Changes, units: str) -> list[str]:
    """Return what changed and how sure that is; units : of the spec."""
    unit = unit_of(units)
    sure = [c for c in changes.changes if c.sure]
    told = "; ".join(_told(c, unit) for c in sure[:MOST_TOLD])
    out = [f"Since {changes.file}: {told}." if sure else f"Since {changes.file} nothing changed for sure."]
    lengths = [c for c in changes.changes if not c.sure and _is_length(c)]
    if lengths:
        largest = max(lengths, key=lambda c: c.u)
        out.append(
            f"The other lengths are as they were, within {_size(COVERAGE * largest.u, largest, unit)}."
        )
    if not changes.same_setup:
        out.append(
            "The two photos were not taken alike (sheet, use, standoff or camera differ), so nothing "
            "cancels: these doubts are as large as those of both photos together."
        )
    return out


def _is_length(change: Change) -> bool:
    name = parsed(change.item.name)
    return not name.told and not name.compares


def changes_dict(changes: Changes, units: str) -> dict[str, Any]:
    """Return it as plain dicts: file, same_setup, sentences, items {name: {before, now, change, U, sure}}."""
    return {
        "file": changes.file,
        "same_setup": changes.same_setup,
        "sentences": change_sentences(changes, units),
        "items": {
            c.item.name: {
                "before": round(c.before, 6),
                "now": round(c.item.measured, 6),
                "change": round(c.amount, 6),
                "U": round(COVERAGE * c.u, 6),
                "sure": c.sure,
            }
            for c in changes.changes
        },
    }
