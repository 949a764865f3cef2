"""The dummy being shut, in words: where card meets card, and what a closed photo shows beside the lengths."""

import math

from compare.cause.binding import Binding
from compare.units import Unit
from compare.verdict.conformity import COVERAGE, Item
from compare.verdict.shut_reach import Overhang
from compare.vocabulary import parsed


def binding_sentence(binding: Binding) -> str:
    """Say at which opening the dummy binds, and whether that matters."""
    b = binding
    about = f"about {b.phi_deg:.0f} degrees (likely {b.low_deg:.0f} to {b.high_deg:.0f})"
    usual = f"hand-cut dummies of this design mostly bind below {b.usual_deg:.0f}"
    if b.high_deg < 0.5:
        return "By its measured lengths it shuts without binding."
    if math.isnan(b.usual_deg):
        return f"Shutting, card meets card at {about}; hand-cut dummies normally bind a little."
    if b.matters:
        return (
            f"Shutting, card meets card at {about}, earlier than usual ({usual}): forced shut it bows or "
            "pulls at its glue."
        )
    if b.phi_deg < 0.5:
        return f"By its measured lengths it shuts, at most binding at {b.high_deg:.0f} degrees ({usual})."
    return f"Shutting, card meets card at {about}; that is usual ({usual}), and card gives."


def overhang_sentence(overhang: Overhang, unit: Unit) -> str:
    """Say what a closed photo shows at one edge, beside what the lengths of the open one predict."""
    o = overhang

    def words(mm: float) -> str:
        return f"{unit.words(abs(mm))} {'beyond' if mm > 0 else 'inside'} the {o.edge}"

    seen = (
        f"Shut, card lies {words(o.measured_mm)} (closed photo, ± {unit.words(COVERAGE * o.measured_u_mm)})"
    )
    if not math.isfinite(o.predicted_mm):
        return f"{seen}."
    known = unit.words(COVERAGE * o.predicted_u_mm)
    told = f"the lengths of the open photo say {words(o.predicted_mm)} (± {known})"
    if not o.disagrees:
        return f"{seen}; {told}: they agree."
    return (
        f"{seen}, but {told}. They differ by {unit.words(abs(o.difference_mm))}, more than both leave in "
        "doubt: it does not lie quite shut, card is bent, or a page is not as wide as designed."
    )


def clearance_words(item: Item, unit: Unit) -> str:
    """Return how far card sticks out past a fore edge, or how little it stays inside."""
    side = parsed(item.name).side
    if item.measured < 0:
        return f"card sticks out {unit.words(-item.measured)} past the {side} fore edge"
    return f"card stays only {unit.words(item.measured)} inside the {side} fore edge"
