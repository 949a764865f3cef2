"""The pieces of a table on a pillar laid flat."""

import numpy as np

from compare.design.constructions.pillar.pillar_form import Pillar
from compare.design.constructions.v_fold.v_fold_form import VSide
from compare.design.constructions.v_fold.v_fold_pieces import v_piece
from compare.design.pieces.piece_facts import LiesOnNear, Seen
from compare.design.pieces.pieces import GLUE, Piece, Pieces, Seam, edge_marks
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, named
from measure.sides import SIDES


def cut_pillar(spec: Spec, p: Pillar, sheet: Pieces) -> None:
    """Add the pieces of a table on a pillar."""
    side = VSide(glue_deg=p.glue_deg, panel_deg=p.panel_deg, width=p.width, plane_deg=p.glue_deg)
    depth = spec.base.depth or spec.card.strip_depth
    for name in SIDES:
        sign = 1.0 if name == "right" else -1.0
        width, leg = spec.base.page(name), p.legs[name]
        run = p.width * np.array([sign * np.sin(np.radians(p.glue_deg)), np.cos(np.radians(p.glue_deg))])
        seams = [Seam((sign * leg.page_spacing, 0.0), (sign * leg.page_spacing, -sheet.depth), GLUE, "leg")]
        for start, way, what in (
            (-p.middle + p.gap / 2, -1.0, "near V-fold"),
            (-p.middle - p.gap / 2, 1.0, "far V-fold"),
        ):
            seams.append(Seam((0.0, start), (float(run[0]), start + way * float(run[1])), GLUE, what))
        corners = np.array([(0.0, 0.0), (sign * width, 0.0), (sign * width, -depth), (0.0, -depth)])
        seams += edge_marks(min(sign, 0.0) * -width, max(sign, 0.0) * width, -depth, 0.0)
        page = Piece(named(Kind.PAGE, name), corners, tuple(seams), ())
        sheet.pieces.append(page.upended())
    for which, crease in (("near", p.crease_near), ("far", p.crease_far)):
        both = {s: side for s in SIDES}
        sheet.pieces.append(v_piece(f"{which} V-fold", both, crease, sheet.tab, triangle=True))
    for name in SIDES:
        sheet.strip(named(Kind.LEG, name), [(p.legs[name].leg, "")], (sheet.tab, sheet.tab))
    marks = [
        (-p.legs["right"].plane_spacing, named(Kind.LEG, "right"), sheet.tab),
        (p.legs["left"].plane_spacing, named(Kind.LEG, "left"), sheet.tab),
    ]
    sheet.board(
        "plane", p.plane.right, p.plane.left, marks, crease=True, seen=Seen.BELOW, facts=(LiesOnNear(),)
    )
