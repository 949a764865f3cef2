"""Pieces of card laid flat: outlines to cut, folds to score, marks for gluing. All in mm, true size.

Everything lies as the camera sees it from above: the near end at the bottom, left on the left. Strips are
seen from their outer side, x along the strip, y along the spine away from the camera; V-folds from behind;
planes from below, turned over about the spine, so that there left lies on the right. Gluing tabs fold away
from that side (mountain) and point towards the spine; only where there is no room beside the spine a tab is
turned outwards (valley).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.pieces.piece_facts import PieceFact, Seen, StripSizes

MOUNTAIN: Final = "mountain"
VALLEY: Final = "valley"
GLUE: Final = "glue"
BACK: Final = "back"  # glued on the other side of the card
EDGE: Final = "edge"  # no line of its own: what an edge is
USUAL_TAB: Final = 8.0  # mm; common practice, no source
LEAST_TAB: Final = 3.0  # mm; a narrower one does not hold; common practice, no source
TAPER: Final = 0.6  # mm of taper per mm of tab at both ends, so that tabs do not show


@dataclass(frozen=True, slots=True, eq=False)
class Seam:
    """A fold to score, or where another piece is glued; `name` is what it is, or what goes there."""

    a: tuple[float, float]
    b: tuple[float, float]
    kind: str
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One piece of card.

    outline : (N, 2), closed; bands : quadrilaterals (4, 2) where glue goes (tabs, or places for tabs); seen :
    from where it is drawn; facts : what else there is to say of it.
    """

    name: str
    outline: Array
    seams: tuple[Seam, ...] = ()
    bands: tuple[Array, ...] = ()
    seen: Seen = Seen.OUTSIDE
    facts: tuple[PieceFact, ...] = ()

    def size(self) -> tuple[float, float]:
        """Width and height, mm."""
        span = np.ptp(self.outline, axis=0)
        return float(span[0]), float(span[1])

    def shifted(self) -> "Piece":
        """Return the piece with its lower left corner at the origin."""
        d = self.outline.min(axis=0)
        return Piece(
            name=self.name,
            outline=self.outline - d,
            seams=tuple(
                Seam(
                    (s.a[0] - float(d[0]), s.a[1] - float(d[1])),
                    (s.b[0] - float(d[0]), s.b[1] - float(d[1])),
                    s.kind,
                    s.name,
                )
                for s in self.seams
            ),
            bands=tuple(b - d for b in self.bands),
            seen=self.seen,
            facts=self.facts,
        )

    def upended(self) -> "Piece":
        """Return the piece with near and far end exchanged (y mirrored)."""

        def q(p: tuple[float, float]) -> tuple[float, float]:
            return p[0], -p[1]

        flip = np.array([1.0, -1.0])
        return Piece(
            name=self.name,
            outline=self.outline * flip,
            seams=tuple(Seam(q(s.a), q(s.b), s.kind, s.name) for s in self.seams),
            bands=tuple(b * flip for b in self.bands),
            seen=self.seen,
            facts=self.facts,
        )

    def turned(self) -> "Piece":
        """Return the piece turned by a quarter."""

        def q(p: tuple[float, float]) -> tuple[float, float]:
            return -p[1], p[0]

        spin = np.array([[0.0, 1.0], [-1.0, 0.0]])
        return Piece(
            name=self.name,
            outline=self.outline @ spin,
            seams=tuple(Seam(q(s.a), q(s.b), s.kind, s.name) for s in self.seams),
            bands=tuple(b @ spin for b in self.bands),
            seen=self.seen,
            facts=self.facts,
        ).shifted()


def edge_marks(left: float, right: float, depth: float, spine: float | None = None) -> list[Seam]:
    """Return what tells the near end (at y = 0, x from -left to right), and the spine if it is an edge."""
    out = [Seam((-left, 0.0), (right, 0.0), EDGE, "near end")]
    if spine is not None:
        out.append(Seam((spine, 0.0), (spine, depth), EDGE, "spine"))
    return out


@dataclass(slots=True)
class Pieces:
    """Pieces in the making."""

    depth: float
    tab: float
    strip_depth: float
    pieces: list[Piece] = field(default_factory=list)

    def tab_beside(self, room: float, outside: float) -> float:
        """Return the width of a foot's tab: towards the spine if there is room, else negative: outwards.

        Parameters
        ----------
        room : foot to spine (or to the next foot inwards); outside : to the next foot outwards, mm.
        """
        return min(self.tab, room) if room >= LEAST_TAB else -min(self.tab, max(outside / 2, LEAST_TAB))

    def strip(
        self,
        name: str,
        parts: list[tuple[float, str]],
        tabs: tuple[float, float],
        facts: tuple[PieceFact, ...] = (),
    ) -> None:
        """Add a strip: panels one after the other, a fold between them, tabs at its ends.

        Parameters
        ----------
        parts : (length, kind of the fold at its far end) per panel; the last kind is not used.
        tabs : width of the tab at either end, mm; 0 = none, negative = folded towards you.
        """
        d = self.depth
        total = sum(length for length, _ in parts)
        outline: list[tuple[float, float]] = []
        seams: list[Seam] = []
        bands: list[Array] = []
        for at, way, tab in ((0.0, -1.0, tabs[0]), (total, 1.0, tabs[1])):
            wide = abs(tab)
            cut = min(wide * TAPER, d / 4)
            end = [(at, 0.0), (at, d)]
            if tab:
                end = [(at, 0.0), (at + way * wide, cut), (at + way * wide, d - cut), (at, d)]
                seams.append(Seam((at, 0.0), (at, d), MOUNTAIN if tab > 0 else VALLEY))
                bands.append(np.array(end))
            outline += end if way < 0 else end[::-1]
        x = 0.0
        for length, kind in parts[:-1]:
            x += length
            seams.append(Seam((x, 0.0), (x, d), kind))
        told = facts or (StripSizes(tuple(length for length, _ in parts), d),)
        self.pieces.append(Piece(name, np.array(outline), tuple(seams), tuple(bands), facts=told))

    def board(
        self,
        name: str,
        left: float,
        right: float,
        marks: Sequence[tuple[float, str, float]],
        *,
        crease: bool,
        seen: Seen = Seen.OUTSIDE,
        facts: tuple[PieceFact, ...] = (),
        on_back: Sequence[tuple[float, str]] = (),
        spine: float | None = None,
    ) -> None:
        """Add a flat piece from -left to right with glue lines.

        Parameters
        ----------
        marks : x of a line, what is glued there, and the width of the tab beside it on its inner side
            (negative: on its outer side, 0: none); on_back : lines of what is glued on the other side;
            spine : x of the edge that lies at the spine, if one does.
        """
        d = self.depth
        outline = np.array([(-left, 0.0), (right, 0.0), (right, d), (-left, d)])
        seams = [Seam((0.0, 0.0), (0.0, d), MOUNTAIN, "crease")] if crease else []
        bands = []
        high = min(self.strip_depth, d)  # strips lie flush with the near end
        for x, what, tab in marks:
            seams.append(Seam((x, 0.0), (x, high), GLUE, what))
            inner = x - np.sign(x) * tab
            if tab and x:
                bands.append(np.array([(x, 0.0), (inner, 0.0), (inner, high), (x, high)]))
        seams += [Seam((x, 0.0), (x, high), BACK, what) for x, what in on_back]
        seams += edge_marks(left, right, d, spine)
        self.pieces.append(Piece(name, outline, tuple(seams), tuple(bands), seen, facts))
