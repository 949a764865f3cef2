"""What to do next, in plain sentences, where the answer alone does not say it: what to measure by hand."""

from collections.abc import Sequence
from typing import Final

from compare.tell.words.plain_words import capital, listed
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings, unseen_lengths
from compare.verdict.outlook import BestReading
from compare.vocabulary import Kind, Told, named, parsed
from measure.sides import SIDES

MOST: Final = 3
EVEN: Final = 0.5
BETTER: Final = (
    "Or take a better photo: nearer, so that the sheet fills the picture, and sharp; a second photo from "
    "another place helps as well."
)


def _by_hand(item: Item, unit: Unit) -> str:
    """Return how to settle one doubtful item with a rule."""
    figure = unit.known(item.measured, item.expanded)
    low, high = item.nominal + item.low, item.nominal + item.high
    n = parsed(item.name)
    if n.compares:
        return (
            f"{capital(item.name)}: lay the strips against each other; they may differ by "
            f"{unit.words(item.high)}, the photo says {unit.known(abs(item.deviation), item.expanded)}."
        )
    return (
        f"Measure {item.name} with a steel rule: {unit.span(low, high)} is allowed, the photo says {figure}."
    )


def _first_reading(reading: BestReading, unit: Unit) -> str:
    """Return the one reading by hand that would decide most, and how it is taken in."""
    return (
        f"To be sure measure {reading.name} by hand first ({unit.words(reading.expected_mm)} expected): no "
        f'other reading decides more. Then check again with --reading "{reading.name}=..." and what you read.'
    )


def _doubtful(items: Sequence[Item]) -> list[Item]:
    """Return the items in doubt, the most doubtful first, the lengths before what follows from them."""
    doubt = [i for i in items if i.verdict is Verdict.OPEN]
    return sorted(doubt, key=lambda i: (parsed(i.name).compares, i.probability))


def _shut_by_hand(clearances: Sequence[Item], unit: Unit) -> list[str]:
    """Return how to settle what stays clear of the fore edges; [] if nothing is in doubt."""
    if not clearances:
        return []
    sides = [parsed(i.name).side for i in clearances]
    edges = f"{listed(sides)} fore edge{'s' if len(sides) > 1 else ''}"
    wanted = unit.words(max(i.nominal + i.low for i in clearances))
    made = listed([f"{unit.known(i.measured, i.expanded)} {parsed(i.name).side}" for i in clearances])
    return [
        f"Shut the spread and measure how far the card stays inside the {edges}: at least {wanted} "
        f"is wanted, the measured lengths make it {made}."
    ]


def _by_rule(doubt: Sequence[Item], unit: Unit) -> list[str]:
    """Return how to settle what is in doubt: the worst one by one, all leans in one sentence."""
    shut = [i for i in doubt if parsed(i.name).told == Told.CLEARANCE]
    alone = [i for i in doubt if i.unit != "deg" and i not in shut]
    out = [*_shut_by_hand(shut, unit), *(_by_hand(i, unit) for i in alone[:MOST])]
    if len(alone) > MOST:
        out.append(f"{len(alone) - MOST} more are in doubt: see the tables.")
    leans = [parsed(i.name).about for i in doubt if i.unit == "deg"]
    if leans:
        halves = f"the {leans[0]} half" if len(leans) == 1 else f"these halves: {listed(leans)}"
        out.append(f"Photograph again, sharper and nearer, for the lean of {halves}.")
    return out


def unlikely(findings: Findings) -> bool:
    """Return whether something fails and no plan of repair is likely to be enough."""
    return findings.verdict is Verdict.FAILS and not any(r.probability >= EVEN for r in findings.remedies)


def photo_steps(findings: Findings) -> list[str]:
    """Return what would help to determine what this photo does not show."""
    out: list[str] = []
    if any(named(Kind.FOOT, side) in findings.undetermined for side in SIDES):
        out.append(
            "To see the spine: stand the sheet with its sill on the page, the arrow on the spine; or hang "
            "the apron (page 2 of the sheet's PDF) from the near edge of the base; or prop the spread open "
            "to 150-165 degrees, the two pages alike, and give that opening in a copy of the spec."
        )
    if any(parsed(k).told == Told.CLEARANCE for k in findings.undetermined):
        out.append("To know the clearance: keep the outer edges of the plane in the picture and unhidden.")
    return out


def next_steps(findings: Findings) -> tuple[str, ...]:
    """Return what the builder should do next, beside the remedies; () if nothing."""
    unit = unit_of(findings.spec.units)
    out: list[str] = []
    doubt = _doubtful(findings.items)
    if findings.verdict is Verdict.FAILS:
        if unlikely(findings):
            out.append("No repair is likely to be enough by what this photo shows; first make sure of these:")
            out += _by_rule(doubt, unit)
            out.append(BETTER)
            return tuple(out)
        if findings.remedies and findings.remedies[0].moves:
            first = "Then" if len(findings.remedies) == 1 else "Do the first of these, then"
            out.append(f"{first} photograph the dummy again and check it.")
        out += _shut_by_hand([i for i in findings.clearances if i.verdict is Verdict.OPEN], unit)
        return tuple(out)
    if findings.verdict is Verdict.CONFORMS:
        return ("Nothing to do.",)
    outlook = findings.outlook
    if doubt and outlook is not None and outlook.reading is not None:
        out.append(_first_reading(outlook.reading, unit))
    out += _by_rule(doubt, unit)
    unseen = unseen_lengths(findings.measured, findings.spec)
    if unseen:
        out.append(
            f"Not seen: {', '.join(unseen)}. Measure by hand, or photograph again with nothing in front."
        )
    if doubt:
        out.append(BETTER)
    return tuple(out)
