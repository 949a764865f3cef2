"""What is too close to call, and what would decide it."""

from typing import Final

from compare.tell.words.name_words import spoken
from compare.tell.words.plain_words import chance, listed
from compare.tell.words.shut_words import clearance_words
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings, unseen_lengths
from compare.verdict.outlook import Outlook
from compare.vocabulary import Kind, Told, parsed

CUT: Final = frozenset(
    {Kind.LEG, Kind.FOLD, Kind.PLANE, Kind.PAGE, Kind.SUPPORT, Kind.FLAP, Kind.STRAP, Kind.VFOLD}
)
"""Lengths of card by themselves, on which a rule can be laid."""
PROBABLY: Final = 0.8  # from here on one would bet on it


def too_close(findings: Findings) -> str:
    """Say what is too close to call, and in one clause what would decide."""
    unit = unit_of(findings.spec.units)
    unseen = [h.name for h in findings.spec.mechanism.halves if h.name not in findings.measured.lean]
    doubtful = [i for i in findings.items if i.verdict is Verdict.OPEN]
    if unseen and not doubtful:
        return (
            f"Too close to call: the {listed(unseen)} half of the plane was not seen well enough; a photo "
            "with nothing in front of it would decide."
        )
    if not doubtful:
        missing = listed(unseen_lengths(findings.measured, findings.spec))
        return (
            f"Too close to call: nothing fails, but {missing} could not be measured; a steel rule "
            "would decide."
        )
    worst = min(doubtful, key=lambda i: i.probability)
    outlook = findings.outlook
    bet = f"{betting_words(outlook)}, " if outlook is not None else ""
    reading = None if outlook is None else outlook.reading
    if reading is None:
        decides = f"{_decides(worst, findings)} would decide"
    else:
        expected = unit.words(reading.expected_mm)
        decides = f"measuring {spoken(reading.name)} by hand would decide most ({expected} expected)"
    return f"Too close to call: {_doubt(worst, unit)}; {bet}{decides}."


def betting_words(outlook: Outlook) -> str:
    """Say how likely a dummy is good as a whole: "probably good (94 %)"."""
    p = outlook.good
    if p >= PROBABLY:
        return f"probably good ({chance(p)})"
    if p <= 1 - PROBABLY:
        return f"probably not good ({chance(p)} that it is)"
    return f"good with a chance of {chance(p)}"


def _doubt(item: Item, unit: Unit) -> str:
    """Say of one item how far it is off, how surely, and what is allowed."""
    n = parsed(item.name)
    if item.unit == "deg":
        return (
            f"the {n.about} half leans {abs(item.measured):.1f} ± {item.expanded:.1f} degrees, "
            f"{item.high:.1f} is allowed"
        )
    known = f"± {unit.words(item.expanded)}"
    if n.told == Told.CLEARANCE:
        asked = unit.words(item.nominal + item.low)
        return f"shut, {clearance_words(item, unit)} ({known}), {asked} is asked for"
    off = f"{item.name} is off by {unit.words(abs(item.deviation))} ({known})"
    return f"{off}, {unit.words(item.high)} is allowed"


def _decides(item: Item, findings: Findings) -> str:
    """Return what would settle an item in doubt: a rule where one can be laid on, else a better photo."""
    n = parsed(item.name)
    if n.told == Told.CLEARANCE:
        return f"shutting it and measuring at the {n.side} fore edge"
    if item.unit != "deg" and not n.compares:
        return f"measuring {spoken(item.name)} with a steel rule"
    suspect = _suspect(item, findings)
    if suspect:
        return f"measuring {suspect} with a steel rule"
    if n.compares and not n.told:
        return "laying the strips against each other"
    return "a nearer, sharper photo"


def _suspect(item: Item, findings: Findings) -> str:
    """Return the strip in doubt that makes the largest share of a lean in doubt; "" if there is none."""
    doubt = {i.name for i in findings.lengths if i.verdict is Verdict.OPEN}
    for leaning in findings.leans:
        if leaning.item.name == item.name:
            shares = sorted(leaning.contributions, key=lambda c: -abs(c.exact_deg))
            if shares and shares[0].length in doubt and parsed(shares[0].length).kind in CUT:
                return shares[0].length
    return ""
