"""The pieces of a dummy for a cutting plotter: one SVG at true size, a layer for each kind of line.

Cut lines are solid red, lines to score solid blue, glue marks grey and on a layer of their own, so that a
plotter's program can leave them out. Units are millimetres (SVG 2, 8.9: width and height in mm with a view
box of the same numbers).
"""

from typing import Final

import numpy as np
from markupsafe import Markup

from compare.design.pieces.pattern import pieces_of
from compare.design.pieces.pieces import BACK, GLUE, MOUNTAIN, VALLEY, Piece
from compare.design.spec.spec import Spec
from compare.tell.draw import svg
from compare.tell.words.cautions import KNIFE

GAP_MM: Final = 6.0
WIDE_MM: Final = 297.0
STROKE: Final = 0.2
LAYERS: Final = (
    ("cut", "#e00000"),
    (MOUNTAIN, "#0050d0"),
    (VALLEY, "#0050d0"),
    (GLUE, "#808080"),
    (BACK, "#808080"),
)
"""Kind of line and its colour."""


def _laid(pieces: tuple[Piece, ...]) -> tuple[list[tuple[Piece, float, float]], float, float]:
    """Lay pieces in rows; return each with its place, and the width and height they take, mm."""
    out = []
    x, y, row, wide = GAP_MM, GAP_MM, 0.0, WIDE_MM
    for piece in sorted(pieces, key=lambda p: -p.size()[1]):
        w, h = piece.size()
        if x > GAP_MM and x + w + GAP_MM > wide:
            x, y, row = GAP_MM, y + row + GAP_MM, 0.0
        wide = max(wide, w + 2 * GAP_MM)
        out.append((piece, x, y))
        x, row = x + w + GAP_MM, max(row, h)
    return out, wide, y + row + GAP_MM


def cut_svg(spec: Spec) -> str:
    """Return the document."""
    placed, wide, tall = _laid(pieces_of(spec))
    layers: dict[str, list[Markup]] = {kind: [] for kind, _ in LAYERS}
    for piece, x, y in placed:
        height = piece.size()[1]

        def at(points: object, x: float = x, y: float = y, height: float = height) -> np.ndarray:
            p = np.asarray(points, dtype=float).reshape(-1, 2)
            return np.column_stack([p[:, 0] + x, y + height - p[:, 1]])

        outline = svg.element("path", svg.element("title", piece.name), d=svg.path_d(at(piece.outline)) + "Z")
        layers["cut"].append(outline)
        for seam in piece.seams:
            if seam.kind in layers:
                layers[seam.kind].append(svg.element("path", d=svg.path_d(at([seam.a, seam.b]))))
    groups = [
        svg.element("g", svg.together(layers[kind]), id=kind, fill="none", stroke=colour, stroke_width=STROKE)
        for kind, colour in LAYERS
        if layers[kind]
    ]
    title = svg.element("title", spec.title or spec.source.name)
    about = svg.element("desc", f"True size, millimetres. {KNIFE}")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + svg.element(
        "svg",
        svg.together([title, about, *groups]),
        xmlns="http://www.w3.org/2000/svg",
        width=f"{svg.num(wide)}mm",
        height=f"{svg.num(tall)}mm",
        viewBox=f"0 0 {svg.num(wide)} {svg.num(tall)}",
    )
