"""Sampling plans by attributes: how many samples to photograph, and how many bad ones to bear.

Single plans of MIL-STD-105E (1989), tables I and II-A to II-C, with the switching rules of ISO 2859-1:1999,
clause 9.3. The three master tables are built from the law they follow: along a diagonal (code letter and AQL
one step apart in opposite directions) acceptance and rejection number are the same. Normal and tightened
plans are those of ISO 2859-1:1999 too; its reduced plans have no gap between the two numbers, those here do.
"""

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final, Literal

from compare.compare_errors import LotError, LotOption

Severity = Literal["normal", "tightened", "reduced"]

LETTERS: Final = "ABCDEFGHJKLMNPQRS"
AQLS: Final = (0.01, 0.015, 0.025, 0.04, 0.065, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
"""Acceptance quality limits, percent nonconforming."""

LEVELS: Final = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
_LOT_ENDS: Final = (
    8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000,
)  # fmt: skip
_CODES: Final[dict[str, str]] = {  # ISO 2859-1 table 1, one letter per range of lot sizes
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
}
_SIZES: Final[dict[Severity, tuple[int, ...]]] = {
    "normal": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    "tightened": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150),
    "reduced": (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
}
"""Sample sizes by code letter; the tightened table has one letter more (S), which no lot starts from."""

_DOWN: Final = 1  # arrow: use the plan of the next letter
_UP: Final = -1  # arrow: use the plan of the letter before
_Entry = tuple[int, int] | int
_DIAGONALS: Final[dict[Severity, tuple[int, tuple[_Entry, ...]]]] = {
    # first diagonal (letter index + AQL index), then what stands on it and on the following ones:
    # acceptance and rejection number, or an arrow
    "normal": (
        14,
        ((0, 1), _UP, _DOWN, (1, 2), (2, 3), (3, 4), (5, 6), (7, 8), (10, 11), (14, 15), (21, 22)),
    ),
    "tightened": (
        15,
        ((0, 1), _DOWN, _DOWN, (1, 2), (2, 3), (3, 4), (5, 6), (8, 9), (12, 13), (18, 19)),
    ),
    "reduced": (
        14,
        ((0, 1), _UP, _DOWN, (0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13)),
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Take n samples; accept the lot with at most `accept` nonconforming ones, refuse it from `reject` on.

    Between the two, which only reduced inspection knows, the lot is accepted and the next one is inspected
    normally (MIL-STD-105E, 4.10.1).

    Attributes
    ----------
    letter : code letter the plan stands under (after the arrows). aql : percent.
    whole_lot : the lot is not larger than the sample, so every piece is inspected.
    """

    n: int
    accept: int
    reject: int
    letter: str
    aql: float
    severity: Severity
    size: int
    whole_lot: bool


def code_letter(size: int, level: str = "II") -> str:
    """Return the code letter of a lot (ISO 2859-1 table 1).

    Raises
    ------
    LotError : lot of less than two pieces, or a level that does not exist.
    """
    if size < 2:
        raise LotError(LotOption.SIZE, f": a lot of at least 2 pieces is wanted, got {size}")
    if level not in _CODES:
        raise LotError(LotOption.LEVEL, f": one of {', '.join(LEVELS)} is wanted, got {level!r}")
    return _CODES[level][bisect.bisect_left(_LOT_ENDS, size)]


def aql_index(aql: float) -> int:
    """Return the place of an AQL in the preferred series.

    Raises
    ------
    LotError : it is not in the series.
    """
    for i, value in enumerate(AQLS):
        if abs(value - aql) <= 1e-9 * value:
            return i
    near = min(AQLS, key=lambda v: abs(v - aql))
    raise LotError(
        LotOption.AQL,
        f": one of {', '.join(f'{v:g}' for v in AQLS)} percent is wanted, got {aql:g} (nearest: {near:g})",
    )


def _entry(letter: int, aql: int, severity: Severity) -> _Entry:
    if (severity, letter, aql) == ("tightened", 0, len(AQLS) - 1):
        return _DOWN  # the one cell that leaves its diagonal
    first, entries = _DIAGONALS[severity]
    k = letter + aql - first
    if k < 0:
        return _DOWN
    return entries[k] if k < len(entries) else _UP


def _after_the_arrows(letter: int, aql: int, severity: Severity) -> tuple[int, tuple[int, int]]:
    """Follow the arrows to a plan; one that leads out of the table is followed the other way."""
    step = 0
    while True:
        entry = _entry(letter, aql, severity)
        if isinstance(entry, tuple):
            return letter, entry
        step = step or entry
        if not 0 <= letter + step < len(_SIZES[severity]):
            step = -step
        letter += step


def plan(size: int, aql: float, level: str = "II", severity: Severity = "normal") -> Plan:
    """Return the single sampling plan for a lot.

    Parameters
    ----------
    size : pieces in the lot. aql : acceptance quality limit, percent. level : inspection level.
    severity : "normal", "tightened" or "reduced".

    Raises
    ------
    LotError : no such lot, level or AQL.
    """
    column = aql_index(aql)
    letter, (accept, reject) = _after_the_arrows(LETTERS.index(code_letter(size, level)), column, severity)
    n = _SIZES[severity][letter]
    return Plan(
        n=min(n, size),
        accept=accept,
        reject=reject,
        letter=LETTERS[letter],
        aql=AQLS[column],
        severity=severity,
        size=size,
        whole_lot=n >= size,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PastLot:
    """A lot already decided: under which plan, whether accepted, and whether it kept the stricter limit too.

    Stricter is one AQL step under normal inspection, and the acceptance number under reduced inspection.
    """

    severity: Severity
    accept: int
    accepted: bool
    accepted_stricter: bool


class SwitchReason(Enum):
    """What of the history asks for an inspection."""

    FIRST_LOTS = auto()
    TWO_OF_FIVE = auto()  # not accepted
    SCORE = auto()
    NOTHING = auto()
    FIVE_REFUSED = auto()
    FIVE_ACCEPTED = auto()
    STAYS_TIGHTENED = auto()
    REFUSED_REDUCED = auto()
    BEYOND_REDUCED = auto()  # its acceptance number
    STAYS_REDUCED = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """What the history asks for.

    Attributes
    ----------
    severity : of the next lot. score : switching score; 30 or more allows reduced inspection.
    stop : five lots not accepted under tightened inspection: inspection is to be stopped until mended.
    reason : what of the history asks for it.
    """

    severity: Severity
    score: int
    stop: bool
    reason: SwitchReason


REDUCED_SCORE: Final = 30


def next_severity(past: Sequence[PastLot], *, steady: bool = True) -> Switch:
    """Follow the switching rules through the lots in order (ISO 2859-1, clauses 9.3.1 to 9.4).

    Parameters
    ----------
    past : decided lots, oldest first. Each is judged by the inspection it was meant to have by the rules,
        so the severities stored with them restart the count when they differ.
    steady : production is steady and the authority agrees; reduced inspection needs both.
    """
    now: Severity = "normal"
    score = refused_tightened = good_tightened = 0
    recent: list[bool] = []
    stop, why = False, SwitchReason.FIRST_LOTS
    for lot in past:
        if lot.severity != now:
            now, score, refused_tightened, good_tightened, recent = lot.severity, 0, 0, 0, []
        if now == "normal":
            recent = [*recent, lot.accepted][-5:]
            kept = lot.accepted_stricter if lot.accept >= 2 else lot.accepted
            score = score + (3 if lot.accept >= 2 else 2) if kept else 0
            if recent.count(False) >= 2:
                now, why = "tightened", SwitchReason.TWO_OF_FIVE
                score, recent, good_tightened, refused_tightened = 0, [], 0, 0
            elif score >= REDUCED_SCORE and steady:
                now, why = "reduced", SwitchReason.SCORE
            else:
                why = SwitchReason.NOTHING
        elif now == "tightened":
            good_tightened = good_tightened + 1 if lot.accepted else 0
            refused_tightened += not lot.accepted
            if refused_tightened >= 5:
                stop, why = True, SwitchReason.FIVE_REFUSED
            elif good_tightened >= 5:
                now, why = "normal", SwitchReason.FIVE_ACCEPTED
                stop, refused_tightened = False, 0
            else:
                why = SwitchReason.STAYS_TIGHTENED
        elif not lot.accepted or not lot.accepted_stricter:
            why = SwitchReason.REFUSED_REDUCED
            if lot.accepted:
                why = SwitchReason.BEYOND_REDUCED
            now, score, recent = "normal", 0, []
        else:
            why = SwitchReason.STAYS_REDUCED
    return Switch(severity=now, score=score, stop=stop, reason=why)
