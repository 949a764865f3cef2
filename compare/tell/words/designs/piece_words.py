"""Pieces of a template in words: what stands above a piece."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.design.pieces.piece_facts import (
    CopyOfPanel,
    JointsAt,
    LiesOnNear,
    PieceFact,
    Seen,
    StripSizes,
    VPanels,
)
from compare.design.pieces.pieces import Piece
from compare.units import Unit

SEEN: Final[Mapping[Seen, str]] = MappingProxyType(
    {Seen.OUTSIDE: "", Seen.BELOW: "seen from below", Seen.BEHIND: "seen from behind"}
)


def piece_note(piece: Piece, unit: Unit) -> str:
    """Return what there is to say of a piece, without full stop; "" if nothing."""
    return "; ".join(part for part in (SEEN[piece.seen], *(_words(f, unit) for f in piece.facts)) if part)


def _words(fact: PieceFact, unit: Unit) -> str:
    match fact:
        case StripSizes(panels, depth):
            return f"{' + '.join(unit.plain(mm) for mm in panels)} x {unit.plain(depth)} {unit.name}"
        case JointsAt(at):
            return f"joints at {', '.join(f'{unit.plain(mm)} {joint}' for mm, joint in at)} {unit.name}"
        case LiesOnNear():
            return "glue it to the tip of the far V-fold, let it lie on the near one"
        case VPanels(crease, sides):
            told = [
                f"{side}: glue line {unit.plain(mm)} {unit.name} at {round(deg, 2):g} degrees to the crease"
                for side, mm, deg in sides
            ]
            return f"crease {unit.plain(crease)} {unit.name}; {', '.join(told)}"
        case CopyOfPanel(side, leg):
            return f"a copy of the V-fold's {side} panel, {unit.plain(leg)} {unit.name} along its near edge"
