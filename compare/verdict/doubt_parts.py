"""What an item's uncertainty is made of: what photos of one set-up share, and what no photo shows.

Between two photos taken alike (the same printed sheet, camera and standoff) the shared part cancels: a
comparison measurement (JCGM 100:2008 "GUM", 5.2.4 and example H.1) is as sure as what is left.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.design.spec.spec import Spec
from compare.quantities.measured import ASSUMED, Measured
from compare.quantities.quantity import Quantity
from compare.verdict.matched_pairs import matches_of
from compare.verdict.shut_reach import shut
from compare.vocabulary import Told, told_of
from measure.sides import SIDES

SHARED_SOURCES: Final = frozenset(("print scale", "view", "standoff", "card layers", "page level"))
"""Sources of a `Profile` that are alike in all photos of one set-up: the same print, lens and standoff, and
the same taking of a face for the middle of the card and of an edge for the page."""


@dataclass(frozen=True, slots=True)
class DoubtParts:
    """Parts of a standard uncertainty (mm, lean: degrees).

    Attributes
    ----------
    common : from `SHARED_SOURCES`. assumed : from values taken for what is not seen (an unmarked spine).
    """

    common: float
    assumed: float


def _items(measured: Measured, spec: Spec) -> dict[str, Quantity]:
    """Return what is compared with limits, in the unit it is compared in."""
    out = dict(measured.lengths)
    for match in matches_of(spec.mechanism):
        if all(k in measured.working for k in match.terms):
            parts = [measured.working[k] * c for k, c in match.terms.items()]
            out[match.name] = sum(parts[1:], parts[0])
    for half, q in measured.lean.items():
        out[told_of(Told.LEAN, half)] = q * float(np.degrees(1.0))
    for side in SIDES:
        found = shut(measured, spec, side)
        if found is not None:
            out[told_of(Told.CLEARANCE, side)] = found.clearance
    return out


def doubt_parts(measured: Measured, spec: Spec) -> dict[str, DoubtParts]:
    """Return the parts of the uncertainty of everything that is compared with limits, by name."""
    by_source = measured.inputs.by_source

    def of(q: Quantity, sources: Iterable[str]) -> float:
        parts = [float(q.gradient @ by_source[s] @ q.gradient) for s in sources if s in by_source]
        return float(np.sqrt(max(sum(parts), 0.0)))

    return {
        name: DoubtParts(common=of(q, SHARED_SOURCES), assumed=of(q, ASSUMED))
        for name, q in _items(measured, spec).items()
    }
