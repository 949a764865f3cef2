"""The pieces of a dummy laid flat: outlines to cut, folds to score, marks for gluing. All in mm, true size.

Strips are seen from their outer side, x along the strip, y along the spine with the near end at the top;
V-folds from behind, planes from below. All gluing tabs fold away from that side and point towards the spine,
so every fold is a mountain fold.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from compare.design.assemble import SIDES, leg_names
from compare.design.parts import Construction, VFold, VSide
from compare.design.spec import Spec

Array = NDArray[np.float64]

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
class _Sheet:
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


def tab_of(spec: Spec) -> float:
    """Width of the gluing tabs, mm: as the spec says, else what fits beside the spine."""
    if np.isfinite(spec.card.tab):
        return spec.card.tab
    feet = [USUAL_TAB]
    for c in spec.stages:
        feet += [s.foot for s in c.supports.values()]
        feet += [f for f in (c.fold.foot_left, c.fold.foot_right) if np.isfinite(f)]
    return max(min(feet), LEAST_TAB)


def _construction(sheet: _Sheet, c: Construction, prefix: str, above: Construction | None) -> None:
    """Add the pieces of one construction."""
    props = list(c.supports)
    if not props:
        sheet.strip(f"{prefix}fold", [(c.fold.left, MOUNTAIN), (c.fold.right, "")], (True, True))
    for side in SIDES:
        if side in c.supports:
            own = "right" if side == "left" else "left"
            sheet.strip(f"{prefix}fold {own}", [(getattr(c.fold, own), "")], (True, True))
            sheet.strip(f"{prefix}support {side}", [(c.supports[side].length, "")], (True, True))
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            sheet.strip(f"{prefix}leg{i} {side}", [(leg.leg, "")], (True, True))
        if side in c.flaps:
            sheet.strip(f"{prefix}flap {side}", [(c.flaps[side].flap, "")], (True, False))
            sheet.strip(f"{prefix}strap {side}", [(c.flaps[side].strap, "")], (True, True))
    marks: list[tuple[float, str]] = []
    on_top: list[str] = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks += [
            (sign * leg.plane_spacing, f"leg{i}")
            for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True)
        ]
        if side in c.supports:
            marks.append((-sign * c.supports[side].tab, "support"))
        if above is not None:
            foot: float = getattr(above.fold, f"foot_{side}")
            on_top.append(
                f"{side} {foot:g}" + "".join(f", {foot + leg.page_spacing:g}" for leg in above.legs[side])
            )
    left, right = c.plane.left, c.plane.right
    for side in props:  # the plane runs on to its support
        beyond = max(-c.supports[side].tab, 0.0)
        left, right = (max(left, beyond), right) if side == "left" else (left, max(right, beyond))
    if props:
        marks.append((0.0, "fold"))
    note = "seen from below, glue lines on this side"
    if on_top:
        note += f"; on top, from the crease: feet of the next stage at {'; '.join(on_top)} mm"
    mirrored = [(-x, words) for x, words in marks]  # from below, left is on the right
    crease = not props and bool(left and right)
    sheet.board(f"{prefix}plane", right, left, mirrored, crease=crease, note=note)


def _base(spec: Spec, sheet: _Sheet) -> None:
    """Add the two pages with the lines at which feet are glued."""
    depth = spec.base.depth or spec.card.strip_depth
    pages = _Sheet(depth, sheet.tab, sheet.depth)
    c = spec.stages[0]
    for side, sign in (("left", -1.0), ("right", 1.0)):
        marks: list[tuple[float, str]] = []
        if side in c.supports:
            marks.append((sign * c.supports[side].foot, "support"))
        else:
            foot: float = getattr(c.fold, f"foot_{side}")
            marks.append((sign * foot, "fold"))
            marks += [
                (sign * (foot + leg.page_spacing), f"leg{i}")
                for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True)
            ]
        if side in c.flaps:
            marks.append((sign * c.flaps[side].hinge, "flap"))
        width: float = getattr(spec.base, f"page_{side}")
        left, right = (width, 0.0) if side == "left" else (0.0, width)
        note = "near end at the top; the spine is its " + ("right" if side == "left" else "left") + " edge"
        pages.board(f"page {side}", left, right, marks, crease=False, note=note)
    sheet.pieces += pages.pieces


def _v_panel(side: VSide, crease: float, sign: float) -> tuple[Array, Array]:
    """Corners of a V-fold's panel laid flat, its crease up the y axis: point, glue end, top end, tip."""
    a = np.radians(side.panel_deg)
    glue = side.width * np.array([sign * np.sin(a), np.cos(a)])
    up = np.array([0.0, crease])
    return np.array([(0.0, 0.0), glue, glue + up, up]), glue


def _flange(a: Array, b: Array, tab: float, inside: Array) -> Array:
    """Corners of a tapered tab along the edge a-b, on the side away from `inside`."""
    way = (b - a) / np.hypot(*(b - a))
    out = np.array([way[1], -way[0]])
    if float(out @ (inside - a)) > 0:
        out = -out
    cut = min(TAPER * tab, float(np.hypot(*(b - a))) / 4)
    return np.array([a, a + out * tab + way * cut, b + out * tab - way * cut, b])


def _v_piece(
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
            flange = _flange(a, b, tab, inside)
            bands.append(flange)
            seams.append(Seam((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), MOUNTAIN))
            ring += list(flange)
        if triangle:
            ring.append(tip)
        rim += ring if side == "right" else ring[::-1]
    note = f"seen from behind; crease {crease:g} mm; " + ", ".join(
        f"{s}: glue line {v.width:g} mm at {v.panel_deg:g} degrees to the crease" for s, v in sides.items()
    )
    return Piece(name, np.array(rim), tuple(seams), tuple(bands), note)


def _vfold(spec: Spec, v: VFold, sheet: _Sheet) -> None:
    """Add the pieces of a V-fold, its legs, its plane and pages."""
    sheet.pieces.append(_v_piece("V-fold", dict(v.sides), v.crease, sheet.tab))
    for side, leg in v.legs.items():
        sign = -1.0 if side == "right" else 1.0
        corners, glue = _v_panel(v.sides[side], leg.leg, sign)
        point, _, top, tip = corners
        inside = corners.mean(axis=0)
        foot, head = _flange(point, glue, sheet.tab, inside), _flange(top, tip, sheet.tab, inside)
        seams = tuple(
            Seam((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), MOUNTAIN)
            for a, b in ((point, glue), (top, tip))
        )
        note = f"seen from behind; a copy of the V-fold's {side} panel, {leg.leg:g} mm along its near edge"
        sheet.pieces.append(Piece(f"leg {side}", np.concatenate([foot, head]), seams, (foot, head), note))
    depth = spec.base.depth or spec.card.strip_depth
    for side in SIDES:
        sign = 1.0 if side == "right" else -1.0
        width: float = getattr(spec.base, f"page_{side}")
        marks = _v_marks(v, side, sign, v.near, float(v.sides[side].glue_deg), on_plane=False)
        corners = np.array([(0.0, 0.0), (sign * width, 0.0), (sign * width, -depth), (0.0, -depth)])
        note = "near end at the top; the spine is its " + ("right" if side == "left" else "left") + " edge"
        sheet.pieces.append(Piece(f"page {side}", corners, tuple(marks), (), note))
    lead = float(spec.mechanism.solve({}, np.radians(spec.base.opening_deg)).points["vfold tip"][2])
    under = [Seam((0.0, 0.0), (0.0, -sheet.depth), MOUNTAIN, "crease")]
    for side, sign in (("right", 1.0), ("left", -1.0)):
        under += _v_marks(v, side, -sign, -lead, float(v.sides[side].plane_deg), on_plane=True)
    outline = np.array(
        [
            (-v.plane.right, 0.0),
            (v.plane.left, 0.0),
            (v.plane.left, -sheet.depth),
            (-v.plane.right, -sheet.depth),
        ]
    )
    sheet.pieces.append(Piece("plane", outline, tuple(under), (), "seen from below, near end at the top"))


def _v_marks(v: VFold, side: str, sign: float, back: float, deg: float, *, on_plane: bool) -> list[Seam]:
    """Glue lines of V-fold and leg on a page or (mirrored, from below) on the plane; near end at y = 0."""
    run = v.sides[side].width * np.array([sign * np.sin(np.radians(deg)), np.cos(np.radians(deg))])
    out = []
    starts = [(0.0, "V-fold")]
    if side in v.legs:
        leg = v.legs[side]
        starts.append((sign * (leg.plane_spacing if on_plane else leg.page_spacing), "leg"))
    for x, words in starts:
        out.append(Seam((x, -back), (x + float(run[0]), -back + float(run[1])), GLUE, words))
    return out


def pieces_of(spec: Spec) -> tuple[Piece, ...]:
    """All pieces of a dummy, base first.

    A linkage given by its joints becomes plain strips, one per panel, with its joints marked: how they are
    hinged is for its author to say.
    """
    depth = min(spec.card.strip_depth, spec.base.depth or spec.card.strip_depth)
    sheet = _Sheet(depth, tab_of(spec), depth)
    if spec.stages:
        _base(spec, sheet)
        for k, c in enumerate(spec.stages):
            above = spec.stages[k + 1] if k + 1 < len(spec.stages) else None
            _construction(sheet, c, f"stage {k + 1} " if k else "", above)
    elif spec.vfold is not None:
        _vfold(spec, spec.vfold, sheet)
    elif spec.pillar is not None:
        _pillar(spec, sheet)
    else:
        _drawn(spec, sheet)
    return tuple(p.shifted() for p in sheet.pieces)


def _pillar(spec: Spec, sheet: _Sheet) -> None:
    """Add the pieces of a table on a pillar."""
    p = spec.pillar
    assert p is not None
    side = VSide(glue_deg=p.glue_deg, panel_deg=p.panel_deg, width=p.width, plane_deg=p.glue_deg)
    depth = spec.base.depth or spec.card.strip_depth
    for name in SIDES:
        sign = 1.0 if name == "right" else -1.0
        width, leg = float(getattr(spec.base, f"page_{name}")), p.legs[name]
        run = p.width * np.array([sign * np.sin(np.radians(p.glue_deg)), np.cos(np.radians(p.glue_deg))])
        seams = [Seam((sign * leg.page_spacing, 0.0), (sign * leg.page_spacing, -sheet.depth), GLUE, "leg")]
        for start, way, words in (
            (-p.middle + p.gap / 2, -1.0, "near V-fold"),
            (-p.middle - p.gap / 2, 1.0, "far V-fold"),
        ):
            seams.append(Seam((0.0, start), (float(run[0]), start + way * float(run[1])), GLUE, words))
        corners = np.array([(0.0, 0.0), (sign * width, 0.0), (sign * width, -depth), (0.0, -depth)])
        note = "near end at the top; the spine is its " + ("right" if name == "left" else "left") + " edge"
        sheet.pieces.append(Piece(f"page {name}", corners, tuple(seams), (), note))
    for which, crease in (("near", p.crease_near), ("far", p.crease_far)):
        both = {s: side for s in SIDES}
        sheet.pieces.append(_v_piece(f"{which} V-fold", both, crease, sheet.tab, triangle=True))
    for name in SIDES:
        sheet.strip(f"leg {name}", [(p.legs[name].leg, "")], (True, True))
    marks = [(-p.legs["right"].plane_spacing, "leg right"), (p.legs["left"].plane_spacing, "leg left")]
    note = "seen from below; glue it to the far V-fold's tip, let it lie on the near one"
    sheet.board("plane", p.plane.right, p.plane.left, marks, crease=True, note=note)


def _drawn(spec: Spec, sheet: _Sheet) -> None:
    """Add the panels of a drawn linkage as strips with their joints marked."""
    n, ends = spec.mechanism.lengths, spec.mechanism.ends
    for panel in spec.mechanism.panels:
        gaps = [
            next(n[k] for k, e in ends.items() if e == (a, b))
            for a, b in zip(panel.joints, panel.joints[1:], strict=False)
        ]
        at = np.concatenate([[0.0], np.cumsum(gaps)])
        is_page = panel.name.startswith("page ")
        tabs = (False, False) if is_page else (True, not panel.free_end)
        parts = [(float(g), GLUE) for g in gaps]
        note = "joints at " + ", ".join(f"{x:.1f} {j}" for x, j in zip(at, panel.joints, strict=True)) + " mm"
        sheet.strip(panel.name, parts, tabs, note)
