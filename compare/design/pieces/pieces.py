"""Pieces of card laid flat: outlines to cut, folds to score, marks for gluing. All in mm, true size.

Strips are seen from their outer side, x along the strip, y along the spine with the near end at the top;
V-folds from behind, planes from below. All gluing tabs fold away from that side and point towards the spine,
so every fold is a mountain fold.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capture.arrays import Array

MOUNTAIN: Final = "mountain"
GLUE: Final = "glue"
USUAL_TAB: Final = 8.0  # mm; common practice, no source
LEAST_TAB: Final = 3.0
TAPER: Final = 0.6  # mm of taper per mm of tab at both ends, so that tabs do not show


@dataclass(frozen=True, slots=True, eq=False)
class Seam:
    """A line on a piece: a fold to score, or where another piece is glued."""

    a: tuple[float, float]
    b: tuple[float, float]
    kind: str
    words: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One piece of card.

    outline : (N, 2), closed; bands : quadrilaterals (4, 2) where glue goes (tabs, or places for tabs).
    """

    name: str
    outline: Array
    seams: tuple[Seam, ...] = ()
    bands: tuple[Array, ...] = ()
    note: str = ""

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
                    s.words,
                )
                for s in self.seams
            ),
            bands=tuple(b - d for b in self.bands),
            note=self.note,
        )

    def turned(self) -> "Piece":
        """Return the piece turned by a quarter."""

        def q(p: tuple[float, float]) -> tuple[float, float]:
            return -p[1], p[0]

        spin = np.array([[0.0, 1.0], [-1.0, 0.0]])
        return Piece(
            name=self.name,
            outline=self.outline @ spin,
            seams=tuple(Seam(q(s.a), q(s.b), s.kind, s.words) for s in self.seams),
            bands=tuple(b @ spin for b in self.bands),
            note=self.note,
        ).shifted()


@dataclass(slots=True)
class Pieces:
    """Pieces in the making."""

    depth: float
    tab: float
    strip_depth: float
    pieces: list[Piece] = field(default_factory=list)

    def strip(
        self, name: str, parts: list[tuple[float, str]], tabs: tuple[bool, bool], note: str = ""
    ) -> None:
        """Add a strip: panels one after the other, a fold between them, tabs at its ends.

        parts : (length, kind of the fold at its far end) per panel; the last kind is not used.
        """
        tab, d = self.tab, self.depth
        cut = min(tab * TAPER, d / 4)
        total = sum(length for length, _ in parts)
        left, right = (tab if tabs[0] else 0.0), (tab if tabs[1] else 0.0)
        outline: list[tuple[float, float]] = []
        if tabs[0]:
            outline += [(0.0, 0.0), (-left, cut), (-left, d - cut), (0.0, d)]
        else:
            outline += [(0.0, 0.0), (0.0, d)]
        if tabs[1]:
            outline += [(total, d), (total + right, d - cut), (total + right, cut), (total, 0.0)]
        else:
            outline += [(total, d), (total, 0.0)]
        seams: list[Seam] = []
        bands: list[Array] = []
        if tabs[0]:
            seams.append(Seam((0.0, 0.0), (0.0, d), MOUNTAIN))
            bands.append(np.array([(0.0, 0.0), (-left, cut), (-left, d - cut), (0.0, d)]))
        x = 0.0
        for length, kind in parts[:-1]:
            x += length
            seams.append(Seam((x, 0.0), (x, d), kind))
        if tabs[1]:
            seams.append(Seam((total, 0.0), (total, d), MOUNTAIN))
            bands.append(np.array([(total, 0.0), (total + right, cut), (total + right, d - cut), (total, d)]))
        words = note or " + ".join(f"{length:g}" for length, _ in parts) + f" x {d:g} mm"
        self.pieces.append(Piece(name, np.array(outline), tuple(seams), tuple(bands), words))

    def board(
        self, name: str, left: float, right: float, marks: list[tuple[float, str]], *, crease: bool, note: str
    ) -> None:
        """Add a flat piece from -left to right with glue lines at x (tabs lie on their inner side)."""
        d, tab = self.depth, self.tab
        outline = np.array([(-left, 0.0), (right, 0.0), (right, d), (-left, d)])
        seams = [Seam((0.0, 0.0), (0.0, d), MOUNTAIN, "crease")] if crease else []
        bands = []
        low = d - min(self.strip_depth, d)  # strips lie flush with the near end, which is at the top
        for x, words in marks:
            seams.append(Seam((x, low), (x, d), GLUE, words))
            inner = x - np.sign(x) * min(tab, abs(x)) if x else x
            bands.append(np.array([(x, low), (inner, low), (inner, d), (x, d)]))
        self.pieces.append(Piece(name, outline, tuple(seams), tuple(bands), note))
