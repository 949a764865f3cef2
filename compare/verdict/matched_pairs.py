"""Matched pairs: the equalities the craft lives by, each with the uncertainty of the DIFFERENCE.

A half of the plane stays parallel to its page if the leg is as long as the fold's side and the spacing on
the plane equals the spacing on the page; the dummy lies flat when shut if the sums round each loop agree.
Two lengths from one photo share scale and distance errors, which cancel in their difference, so a pair is
known better than either of its lengths.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.spec import Spec
from compare.quantities.measured import ASSUMED, Measured, nominal_lengths
from compare.quantities.quantity import Quantity
from compare.quantities.undetermined import Reason, Rests, Undetermined, Why
from compare.verdict.conformity import Item
from compare.verdict.remarks import TwoSums
from compare.vocabulary import Kind, Told, feet_equality, parsed, told_of

SMALLEST: Final = 1e-9  # mm

Terms = Mapping[str, float]
"""A difference of sums: length -> coefficient."""


@dataclass(frozen=True, slots=True)
class Match:
    """Something that must agree: its name, its terms, and which two sums round a loop (None for a pair)."""

    name: str
    terms: Terms
    sums: TwoSums | None = None


def matches_of(mechanism: Mechanism) -> tuple[Match, ...]:
    """Return matched pairs, then closing sums; those with a length that is never seen end-on are left out."""
    out = [Match(p.name, {p.first: 1.0, p.second: -1.0}) for p in mechanism.pairs]
    for loop in mechanism.loops:
        terms: dict[str, float] = {}
        for names, sign in ((loop.one, 1.0), (loop.other, -1.0)):
            for k in names:
                terms[k] = terms.get(k, 0.0) + sign * loop.weights.get(k, 1.0)
        n = parsed(loop.name)
        feet = n.kind == Kind.FEET
        name = feet_equality(n.stage) if feet else told_of(Told.CLOSING_SUM, loop.name)
        out.append(Match(name, terms, None if feet else TwoSums(loop.one, loop.other)))
    seen = mechanism.ends
    return tuple(m for m in out if all(k in seen for k in m.terms))


def total_of(terms: Terms, measured: Measured) -> Quantity | None:
    """Return a difference of sums; None if it was not measured, or rests on something assumed."""
    if any(k not in measured.working for k in terms):
        return None
    parts = [measured.working[k] * c for k, c in terms.items()]
    total = sum(parts[1:], parts[0])
    if all(k in measured.lengths for k in terms):
        return total
    budget = measured.inputs.budget(total)  # an assumed split of the feet may cancel
    return None if any(u > SMALLEST and s in ASSUMED for s, u in budget.items()) else total


def compare_pairs(measured: Measured, spec: Spec) -> tuple[tuple[Item, ...], dict[str, Undetermined]]:
    """Compare the matched pairs with the design.

    Returns
    -------
    items : the difference of each pair (mm) against the design's own difference (0 for a plain
        parallelogram, something else for a plane that is oblique on purpose), limits +- `matched`. A sum
        round a loop is the sum of two pairs, so it is given twice that: where the pairs hold, it holds.
    undetermined : pair -> reason, for pairs with a length that was not measured.
    """
    nominal = nominal_lengths(spec, measured.opening.value)
    items: list[Item] = []
    undetermined: dict[str, Undetermined] = {}
    for match in matches_of(spec.mechanism):
        name, terms = match.name, match.terms
        total = total_of(terms, measured)
        if total is None:
            missing = [k for k in terms if k not in measured.lengths]
            why = measured.undetermined.get(missing[0], Reason(Why.NOT_SEEN))
            undetermined[name] = Rests(missing[0], why)
            continue
        limit = spec.tolerance.matched * len(terms) / 2
        items.append(
            Item(
                name=name,
                unit="mm",
                nominal=sum(nominal[k] * c for k, c in terms.items()),
                measured=total.value,
                u=measured.u(total),
                low=-limit,
                high=limit,
                remarks=() if match.sums is None else (match.sums,),
            )
        )
    return tuple(items), undetermined
