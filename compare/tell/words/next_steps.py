"""What to do next, in plain sentences, where the answer alone does not say it: what to measure by hand."""

from collections.abc import Sequence
from typing import Final

from compare.tell.words.name_words import called
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings, unseen_lengths
from compare.vocabulary import Kind, Told, parsed

MOST: Final = 5
CUT: Final = (
    Kind.LEG,
    Kind.FOLD,
    Kind.PLANE,
    Kind.PAGE,
    Kind.SUPPORT,
    Kind.FLAP,
    Kind.STRAP,
    Kind.VFOLD,
)  # a length of card by itself
EVEN: Final = 0.5
BETTER: Final = (
    "Or take a better photo: nearer, so that the sheet fills the picture, and sharp; a second photo from "
    "another place helps as well."
)


def _by_hand(item: Item, unit: Unit) -> str:
    """Return how to settle one doubtful item with a rule."""
    figure = f"{unit.number(item.measured)} ± {unit.number(item.expanded)}"
    low, high = item.nominal + item.low, item.nominal + item.high
    n = parsed(item.name)
    if n.told == Told.CLEARANCE:
        return (
            f"Shut the spread and measure how far the card stays inside the {n.side} fore edge: at least "
            f"{unit.words(low)} is wanted, the measured lengths make it {figure} {unit.name}."
        )
    if item.unit == "deg":
        return (
            f"Photograph again, sharper or nearer, for the lean of the {n.about} half: {item.low:+.1f} to "
            f"{item.high:+.1f} degrees from the design is allowed, the photo says {item.deviation:+.1f} "
            f"± {item.expanded:.1f}."
        )
    if n.compares:
        return (
            f"{item.name[0].upper()}{item.name[1:]}: lay the strips against each other; they may differ by "
            f"{unit.words(item.high)}, the photo says {unit.number(abs(item.deviation))} ± "
            f"{unit.number(item.expanded)}."
        )
    what = called(item.name) if n.kind in CUT else f'"{item.name}"'
    allowed = f"{unit.number(low)} to {unit.number(high)} {unit.name} is allowed"
    return f"Measure {what} with a steel rule: {allowed}, the photo says {figure}."


def _doubtful(items: Sequence[Item]) -> list[Item]:
    """Return the items in doubt, the most doubtful first, the lengths before what follows from them."""
    doubt = [i for i in items if i.verdict is Verdict.OPEN]
    return sorted(doubt, key=lambda i: (parsed(i.name).compares, i.probability))


def next_steps(findings: Findings) -> tuple[str, ...]:
    """Return what the builder should do next, beside the remedies; () if nothing."""
    unit = unit_of(findings.spec.units)
    out: list[str] = []
    doubt = _doubtful(findings.items)
    if findings.verdict is Verdict.FAILS:
        if not any(r.probability >= EVEN for r in findings.remedies):
            out.append("No repair is likely to be enough by what this photo shows; first make sure of these:")
            out += [_by_hand(i, unit) for i in doubt[:MOST]]
            out.append(BETTER)
            return tuple(out)
        if findings.remedies and findings.remedies[0].moves:
            out.append("Do the first of these, then photograph the dummy again and check it.")
        for item in findings.clearances:
            if item.verdict is Verdict.OPEN:
                out.append(_by_hand(item, unit))
        return tuple(out)
    if findings.verdict is Verdict.CONFORMS:
        return ("Nothing to do.",)
    out += [_by_hand(i, unit) for i in doubt[:MOST]]
    if len(doubt) > MOST:
        out.append(f"{len(doubt) - MOST} more are in doubt: see the tables.")
    unseen = unseen_lengths(findings.measured, findings.spec)
    if unseen:
        out.append(
            f"Not seen: {', '.join(unseen)}. Measure by hand, or photograph again with nothing in front."
        )
    if doubt:
        out.append(BETTER)
    return tuple(out)
