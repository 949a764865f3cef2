"""The pieces of a dummy laid flat, from its design."""

import numpy as np

from compare.design.pieces.pieces import LEAST_TAB, USUAL_TAB, Piece, Pieces
from compare.design.spec.spec import Spec


def tab_of(spec: Spec) -> float:
    """Width of the gluing tabs, mm: as the spec says, else what fits beside the spine.

    Feet too near to the spine for any tab turn theirs outwards.
    """
    if np.isfinite(spec.card.tab):
        return spec.card.tab
    return min((USUAL_TAB, *(f for f in spec.building.feet_beside_spine() if f >= LEAST_TAB)))


def pieces_of(spec: Spec) -> tuple[Piece, ...]:
    """All pieces of a dummy."""
    depth = min(spec.card.strip_depth, spec.base.depth or spec.card.strip_depth)
    sheet = Pieces(depth, tab_of(spec), depth)
    spec.building.cut(spec, sheet)
    return tuple(p.shifted() for p in sheet.pieces)
