"""Sampling plans by attributes: how many samples to photograph, and how many bad ones to bear.

Single plans of ISO 2859-1:1999 for percent nonconforming, with the switching rules of its clause 9.3. The
three master tables are built from the law they follow: along a diagonal (code letter and AQL one step apart
in opposite directions) the acceptance number is the same. Normal inspection is checked against published
plans; the acceptance numbers of tightened and reduced inspection are values recalled from memory.
"""

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from compare.compare_errors import LotError

Severity = Literal["normal", "tightened", "reduced"]

LETTERS: Final = "ABCDEFGHJKLMNPQR"
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
    "tightened": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    "reduced": (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
}
_DOWN: Final = -1  # arrow: use the next letter
_UP: Final = -2  # arrow: use the letter before
_DIAGONALS: Final[dict[Severity, tuple[int, tuple[int, ...]]]] = {
    # first diagonal (letter index + AQL index), then what stands on it and the following ones
    "normal": (14, (0, _UP, _DOWN, 1, 2, 3, 5, 7, 10, 14, 21)),
    "tightened": (15, (0, _DOWN, _DOWN, 1, 2, 3, 5, 8, 12, 18)),
    "reduced": (14, (0, _UP, _DOWN, 1, 2, 3, 5, 6, 8, 10)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Take n samples; accept the lot with at most `accept` nonconforming ones, else do not.

    Attributes
    ----------
    letter : code letter the plan stands under (after the arrows). aql : percent.
    whole_lot : the lot is not larger than the sample, so every piece is inspected.
    """

    n: int
    accept: int
    letter: str
    aql: float
    severity: Severity
    size: int
    whole_lot: bool

    @property
    def reject(self) -> int:
        """Nonconforming samples from which on the lot is not accepted."""
        return self.accept + 1


def code_letter(size: int, level: str = "II") -> str:
    """Return the code letter of a lot (ISO 2859-1 table 1).

    Raises
    ------
    LotError : lot of less than two pieces, or a level that does not exist.
    """
    if size < 2:
        raise LotError(f"--size: a lot of at least 2 pieces is wanted, got {size}")
    if level not in _CODES:
        raise LotError(f"--level: one of {', '.join(LEVELS)} is wanted, got {level!r}")
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
        f"--aql: one of {', '.join(f'{v:g}' for v in AQLS)} percent is wanted, got {aql:g} "
        f"(nearest: {near:g})"
    )


def _entry(letter: int, aql: int, severity: Severity) -> int:
    first, entries = _DIAGONALS[severity]
    k = letter + aql - first
    if k < 0:
        return _DOWN
    return entries[k] if k < len(entries) else _UP


def plan(size: int, aql: float, level: str = "II", severity: Severity = "normal") -> Plan:
    """Return the single sampling plan for a lot.

    Parameters
    ----------
    size : pieces in the lot. aql : acceptance quality limit, percent. level : inspection level.
    severity : "normal", "tightened" or "reduced".

    Raises
    ------
    LotError : no such lot, level or AQL, or the tables have no plan this strict.
    """
    letter = LETTERS.index(code_letter(size, level))
    column = aql_index(aql)
    entry = _entry(letter, column, severity)
    while entry < 0:
        letter += 1 if entry == _DOWN else -1
        if not 0 <= letter < len(LETTERS):
            raise LotError(f"the tables have no {severity} plan for a lot of {size} at AQL {aql:g}")
        entry = _entry(letter, column, severity)
    n = _SIZES[severity][letter]
    return Plan(
        n=min(n, size),
        accept=entry,
        letter=LETTERS[letter],
        aql=AQLS[column],
        severity=severity,
        size=size,
        whole_lot=n >= size,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PastLot:
    """A lot already decided: under which plan, whether accepted, and whether one AQL step stricter too."""

    severity: Severity
    accept: int
    accepted: bool
    accepted_stricter: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """What the history asks for.

    Attributes
    ----------
    severity : of the next lot. score : switching score; 30 or more allows reduced inspection.
    stop : five lots not accepted under tightened inspection: inspection is to be stopped until mended.
    why : one sentence.
    """

    severity: Severity
    score: int
    stop: bool
    why: str


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
    stop, why = False, "the first lots are inspected normally"
    for lot in past:
        if lot.severity != now:
            now, score, refused_tightened, good_tightened, recent = lot.severity, 0, 0, 0, []
        if now == "normal":
            recent = [*recent, lot.accepted][-5:]
            kept = lot.accepted_stricter if lot.accept >= 2 else lot.accepted
            score = score + (3 if lot.accept >= 2 else 2) if kept else 0
            if recent.count(False) >= 2:
                now, why = "tightened", "two of the last five lots (or fewer) were not accepted"
                score, recent, good_tightened, refused_tightened = 0, [], 0, 0
            elif score >= REDUCED_SCORE and steady:
                now, why = "reduced", f"the switching score has reached {REDUCED_SCORE}"
            else:
                why = "nothing asks for a switch"
        elif now == "tightened":
            good_tightened = good_tightened + 1 if lot.accepted else 0
            refused_tightened += not lot.accepted
            if refused_tightened >= 5:
                stop, why = True, "five lots were not accepted under tightened inspection"
            elif good_tightened >= 5:
                now, why = "normal", "five lots in a row were accepted under tightened inspection"
                stop, refused_tightened = False, 0
            else:
                why = "tightened until five lots in a row are accepted"
        elif not lot.accepted:
            now, why = "normal", "a lot was not accepted under reduced inspection"
            score, recent = 0, []
        else:
            why = "reduced as long as every lot is accepted"
    return Switch(severity=now, score=score, stop=stop, why=why)
