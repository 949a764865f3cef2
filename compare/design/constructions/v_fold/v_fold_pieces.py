"""The pieces of a V-fold laid flat."""

import numpy as np

from capture.arrays import Array
from compare.design.constructions.v_fold.v_fold_form import VFold, VSide
from compare.design.pieces.piece_facts import CopyOfPanel, Seen, VPanels
from compare.design.pieces.pieces import GLUE, MOUNTAIN, TAPER, Piece, Pieces, Seam, edge_marks
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, named
from measure.sides import SIDES


def _v_panel(side: VSide, crease: float, sign: float) -> tuple[Array, Array]:
    """Corners of a V-fold's panel laid flat, its crease up the y axis: point, glue end, top end, tip."""
    a = np.radians(side.panel_deg)
    glue = side.width * np.array([sign * np.sin(a), np.cos(a)])
    up = np.array([0.0, crease])
    return np.array([(0.0, 0.0), glue, glue + up, up]), glue


def flange(a: Array, b: Array, tab: float, inside: Array) -> Array:
    """Corners of a tapered tab along the edge a-b, on the side away from `inside`."""
    way = (b - a) / np.hypot(*(b - a))
    out = np.array([way[1], -way[0]])
    if float(out @ (inside - a)) > 0:
        out = -out
    cut = min(TAPER * tab, float(np.hypot(*(b - a))) / 4)
    return np.array([a, a + out * tab + way * cut, b + out * tab - way * cut, b])


def v_piece(
    name: str, sides: dict[str, VSide], crease: float, tab: float, *, triangle: bool = False
) -> Piece:
    """Return a V-fold laid flat: two panels joined at the crease, tabs along its glue lines and top edges."""
    rim: list[Array] = []
    seams = [Seam((0.0, 0.0), (0.0, crease), MOUNTAIN)]
    bands: list[Array] = []
    for side, sign in (("right", -1.0), ("left", 1.0)):  # from behind, right is on the left
        corners, glue = _v_panel(sides[side], crease, sign)
        point, _, top, tip = corners
        inside = corners.mean(axis=0)
        edges = [(point, glue)] if triangle else [(point, glue), (top, tip)]
        ring: list[Array] = []
        for a, b in edges:
            band = flange(a, b, tab, inside)
            bands.append(band)
            seams.append(Seam((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), MOUNTAIN))
            ring += list(band)
        if triangle:
            ring.append(tip)
        rim += ring if side == "right" else ring[::-1]
    panels = VPanels(crease, tuple((s, v.width, v.panel_deg) for s, v in sides.items()))
    return Piece(name, np.array(rim), tuple(seams), tuple(bands), Seen.BEHIND, (panels,))


def _v_marks(v: VFold, side: str, sign: float, back: float, deg: float, *, on_plane: bool) -> list[Seam]:
    """Glue lines of V-fold and leg on a page or (mirrored, from below) on the plane; near end at y = 0."""
    run = v.sides[side].width * np.array([sign * np.sin(np.radians(deg)), np.cos(np.radians(deg))])
    out = []
    starts = [(0.0, "V-fold")]
    if side in v.legs:
        leg = v.legs[side]
        starts.append((sign * (leg.plane_spacing if on_plane else leg.page_spacing), "leg"))
    for x, what in starts:
        out.append(Seam((x, -back), (x + float(run[0]), -back + float(run[1])), GLUE, what))
    return out


def cut_vfold(spec: Spec, v: VFold, sheet: Pieces) -> None:
    """Add the pieces of a V-fold, its legs, its plane and pages."""
    sheet.pieces.append(v_piece("V-fold", dict(v.sides), v.crease, sheet.tab))
    for side, leg in v.legs.items():
        sign = -1.0 if side == "right" else 1.0
        corners, glue = _v_panel(v.sides[side], leg.leg, sign)
        point, _, top, tip = corners
        inside = corners.mean(axis=0)
        foot, head = flange(point, glue, sheet.tab, inside), flange(top, tip, sheet.tab, inside)
        seams = tuple(
            Seam((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), MOUNTAIN)
            for a, b in ((point, glue), (top, tip))
        )
        outline, fact = np.concatenate([foot, head]), CopyOfPanel(side, leg.leg)
        sheet.pieces.append(Piece(named(Kind.LEG, side), outline, seams, (foot, head), Seen.BEHIND, (fact,)))
    depth = spec.base.depth or spec.card.strip_depth
    for side in SIDES:
        sign = 1.0 if side == "right" else -1.0
        width = spec.base.page(side)
        marks = _v_marks(v, side, sign, v.near, float(v.sides[side].glue_deg), on_plane=False)
        corners = np.array([(0.0, 0.0), (sign * width, 0.0), (sign * width, -depth), (0.0, -depth)])
        marks += edge_marks(min(sign, 0.0) * -width, max(sign, 0.0) * width, -depth, 0.0)
        page = Piece(named(Kind.PAGE, side), corners, tuple(marks), ())
        sheet.pieces.append(page.upended())
    lead = float(spec.mechanism.solve({}, spec.opening).points["vfold tip"][2])
    under = [Seam((0.0, 0.0), (0.0, -sheet.depth), MOUNTAIN, "crease")]
    for side, sign in (("right", 1.0), ("left", -1.0)):
        under += _v_marks(v, side, -sign, -lead, float(v.sides[side].plane_deg), on_plane=True)
    under += edge_marks(v.plane.right, v.plane.left, -sheet.depth)
    outline = np.array(
        [
            (-v.plane.right, 0.0),
            (v.plane.left, 0.0),
            (v.plane.left, -sheet.depth),
            (-v.plane.right, -sheet.depth),
        ]
    )
    plane = Piece("plane", outline, tuple(under), (), Seen.BELOW)
    sheet.pieces.append(plane.upended())
