"""The card dummy as solids: base pages, parallel fold, legs, parallelogram strips, floating plane.

All strips are built round the joints of `linkage.solve`: a joint is where the middle surfaces of two
panels meet, a gluing tab lies on the page with its middle surface on the page line.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sample_images.rendering.cards.inked_ends import Ink, inked_strip
from sample_images.rendering.cards.meshes import Mesh, join, prism, strip
from sample_images.rendering.cards.own_linkage import SIDES, page_direction

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """How the dummy was put together.

    Attributes
    ----------
    card_mm, base_mm : thickness of the strips and plane, and of the base pages.
    strip_depth_mm, base_depth_mm : lengths along the spine.
    setback_mm : how far the near ends stand behind the page's near edge.
    tab_mm : length of a gluing tab.
    inner_tabs_out : True if the tabs of the parallel fold point away from the spine.
    ribbons : True for one ribbon tab-leg-layer under the plane-ridge, doubled by a tab on the fold;
        False for separate strips with tabs of their own under the plane.
    near_sd_mm : how unevenly the near ends are cut. skew_sd_deg : how far off square.
    wobble_mm : waviness of a cut edge.
    sagitta_mm : panel ("leg right", "fold left") -> bow of its middle off the chord, + to the left of
        its direction from first to last joint.
    crease_off_mm : where the plane's own crease lies, measured from the ridge to the right.
    pen_line : a felt-pen line along the near edge of the base, with a tick at the spine.
    ink : near ends blackened with a felt pen; None = left as they are.
    """

    card_mm: float = 0.3
    base_mm: float = 0.35
    strip_depth_mm: float = 60.0
    base_depth_mm: float = 100.0
    setback_mm: float = 0.0
    tab_mm: float = 9.0
    inner_tabs_out: bool = True
    ribbons: bool = False
    near_sd_mm: float = 0.4
    skew_sd_deg: float = 0.15
    wobble_mm: float = 0.03
    sagitta_mm: Mapping[str, float] = field(default_factory=dict)
    crease_off_mm: float = 0.0
    pen_line: bool = False
    ink: Ink | None = None

    @property
    def behind_mm(self) -> float:
        """How far the base reaches behind the near ends."""
        return self.base_depth_mm - self.setback_mm


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A solid and its stuff: "card", "plane", "base" (+ " cut" for cut edges), "pen", "ink", "prop" ..."""

    mesh: Mesh
    stuff: str


def bowed(a: Array, b: Array, sagitta: float) -> Array:
    """Points (N, 2) of a shallow arc (parabola) from a to b, first point left out."""
    if sagitta == 0:
        return b[None]
    s = np.linspace(0, 1, 25)[1:, None]
    d = b - a
    normal = np.array([-d[1], d[0]]) / math.hypot(*d)
    out: Array = a + s * d + 4 * s * (1 - s) * sagitta * normal
    return out


def parallel(points: Array, offset: float) -> Array:
    """Polyline (N, 2) moved to its left by `offset`, corners mitred."""
    d = np.diff(points, axis=0)
    u = d / np.hypot(d[:, 0], d[:, 1])[:, None]
    n = np.column_stack([-u[:, 1], u[:, 0]])
    out = [points[0] + offset * n[0]]
    for i in range(1, len(points) - 1):
        m = n[i - 1] + n[i]
        out.append(points[i] + offset * m * 2 / (m @ m))
    out.append(points[-1] + offset * n[-1])
    return np.array(out)


class Cutter:
    """Cuts strips: draws the unevenness of each near end and keeps a record of it."""

    def __init__(self, build: Build, rng: np.random.Generator) -> None:
        self.build, self.rng = build, rng
        self.parts: list[Part] = []
        self.near: dict[str, float] = {}
        self.ink_rng = np.random.default_rng([build.ink.seed if build.ink else 0, 41])

    def end(self, length: float, mean: float) -> Callable[[Array], Array]:
        """Random near end: z as a function of arc length."""
        b = self.build
        z0 = mean + b.near_sd_mm * self.rng.standard_normal()
        slope = math.tan(math.radians(b.skew_sd_deg)) * self.rng.standard_normal()
        waves = b.wobble_mm * self.rng.standard_normal(3)
        pitch = self.rng.uniform(5, 40, 3)
        phase = self.rng.uniform(0, 6.28, 3)

        def z(s: Array) -> Array:
            ripple = np.sin(s[:, None] / pitch * 6.28 + phase) @ waves
            out: Array = z0 + slope * (s - length / 2) + ripple
            return out

        return z

    def cut(
        self,
        line: Array,
        stuff: str,
        thick: float,
        depth: float,
        panels: Mapping[str, tuple[float, float]],
        near: Callable[[Array], Array] | None = None,
    ) -> None:
        """Add a strip; `panels` gives the arc length from-to of each named panel on it."""
        length = float(np.sum(np.hypot(*np.diff(line, axis=0).T)))
        near = near or self.end(length, 0.0)
        far = self.end(length, -depth)
        ink = self.build.ink
        if ink and (ink.page or stuff != "base") and not set(panels) & set(ink.forgotten):
            meshes = inked_strip(line, thick, near, far, ink, self.ink_rng)
            called = {"faces": stuff, "cuts": f"{stuff} cut"}
            self.parts += [Part(mesh, called.get(k, k)) for k, mesh in meshes.items()]
        else:
            faces, cuts = strip(line, thick, near, far)
            self.parts += [Part(faces, stuff), Part(cuts, f"{stuff} cut")]
        for name, (s0, s1) in panels.items():
            self.near[name] = float(np.mean(near(np.linspace(s0, s1, 50))))


def assemble(
    joints: Mapping[str, Array], opening_deg: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    """Solids of a dummy in the dummy frame (near ends about z = 0), and the depth of each near end.

    Returns
    -------
    parts : the solids.
    near : panel name -> mean z of its near end, mm (+ toward the camera).
    """
    cutter = Cutter(build, rng)
    along = page_directions(opening_deg)
    pages(cutter, joints)
    fold(cutter, joints, along)
    for side in SIDES:
        if f"outer foot {side}" in joints:
            leg(cutter, joints, side, along[side])
    plane(cutter, joints)
    return cutter.parts, cutter.near


def page_directions(opening_deg: float) -> dict[str, Array]:
    """Side -> unit vector (2,) from the spine along its page."""
    return {s: page_direction(s, opening_deg) for s in SIDES}


def pages(cutter: Cutter, joints: Mapping[str, Array]) -> None:
    """Add the base, and its felt-pen line."""
    b = cutter.build
    line = np.array([joints["fore edge left"], joints["spine"], joints["fore edge right"]])
    middle = parallel(line, -(b.card_mm + b.base_mm) / 2)
    w = math.hypot(*line[0])
    # a base is cut with a guillotine: straight and square
    cutter.cut(
        middle,
        "base",
        b.base_mm,
        b.behind_mm,
        {"page left": (0, w), "page right": (w, 2 * w)},
        near=lambda s: np.full_like(s, b.setback_mm),
    )
    if b.pen_line:
        _pen(cutter, line)


def _pen(cutter: Cutter, line: Array) -> None:
    """Add ink: a film on the near edge and 1.2 mm wide on top of the page, and a tick at the spine."""
    b = cutter.build
    inset = 3.0
    u = (line[2] - line[0]) / math.hypot(*(line[2] - line[0]))
    ends = np.array([line[0] + inset * u, line[1], line[2] - inset * u])
    film = parallel(ends, -(b.card_mm + b.base_mm) / 2)
    faces, cuts = strip(
        film, b.base_mm + 0.04, lambda s: np.full_like(s, 0.02), lambda s: -1.2 - 0.1 * np.sin(s / 9)
    )
    cutter.parts += [Part(faces, "pen"), Part(cuts, "pen")]
    top = parallel(np.array([line[1] - 0.4 * u, line[1] + 0.4 * u]), -b.card_mm / 2)
    faces, cuts = strip(top, 0.05, lambda s: np.full_like(s, -0.5), lambda s: np.full_like(s, -9.0))
    cutter.parts += [Part(faces, "pen"), Part(cuts, "pen")]


def fold(cutter: Cutter, joints: Mapping[str, Array], along: Mapping[str, Array], stage: str = "") -> None:
    """Add a parallel fold standing on pages (or, at a later stage, on planes) that run `along`."""
    b = cutter.build
    top = joints[f"{stage}ridge"]
    sides: dict[str, tuple[Array, float]] = {}
    for side in SIDES:
        foot = joints[f"{stage}inner foot {side}"]
        u = along[side] * (1 if b.inner_tabs_out else -1)
        tab = b.tab_mm if b.inner_tabs_out else min(b.tab_mm, 0.8 * math.hypot(*foot))
        panel = bowed(foot, top, b.sagitta_mm.get(f"fold {side}", 0.0))
        sides[side] = np.vstack([foot + tab * u, foot, panel]), tab
    if b.ribbons:
        (left, tab_l), (right, _) = sides["left"], sides["right"]
        line = np.vstack([left, right[-2::-1]])
        size_l, size_r = (math.hypot(*(top - joints[f"inner foot {s}"])) for s in SIDES)
        mid = tab_l + size_l
        cutter.cut(
            line,
            "card",
            b.card_mm,
            b.strip_depth_mm,
            {"fold left": (tab_l, mid), "fold right": (mid, mid + size_r)},
        )
        return
    for side in SIDES:  # two strips, each with a tab under its plane half
        line, tab = sides[side]
        size = math.hypot(*(top - joints[f"{stage}inner foot {side}"]))
        if f"{stage}plane edge {side}" in joints:
            line = np.vstack(
                [line, top + toward(top, joints[f"{stage}plane edge {side}"]) * (b.tab_mm - 1.5)]
            )
        cutter.cut(line, "card", b.card_mm, b.strip_depth_mm, {f"{stage}fold {side}": (tab, tab + size)})


def toward(a: Array, b: Array) -> Array:
    """Return the unit vector (2,) from a to b."""
    out: Array = (b - a) / math.hypot(*(b - a))
    return out


def leg(
    cutter: Cutter, joints: Mapping[str, Array], side: str, along: Array, stage: str = "", number: str = ""
) -> None:
    """Add a leg; `along` is its page's direction, `number` ("1 ") its place if there are several."""
    b = cutter.build
    name = f"{stage}leg {number}{side}"
    foot, top = joints[f"{stage}outer foot {number}{side}"], joints[f"{stage}leg top {number}{side}"]
    ridge = joints[f"{stage}ridge"]
    tab = foot + b.tab_mm * along
    inward = toward(top, ridge)
    panel = bowed(foot, top, b.sagitta_mm.get(name, 0.0))
    size = math.hypot(*(top - foot))
    line = np.vstack([tab, foot, panel])
    if not b.ribbons or number or stage:
        line = np.vstack([line, top + b.tab_mm * inward])
        cutter.cut(line, "card", b.card_mm, b.strip_depth_mm, {name: (b.tab_mm, b.tab_mm + size)})
        return
    # the ribbon runs on to the ridge and doubles the top of the fold on its outside
    inner = joints[f"inner foot {side}"]
    d = (inner - ridge) / math.hypot(*(inner - ridge))
    n = np.array([-d[1], d[0]]) * (1 if side == "right" else -1)  # outwards, away from the gully
    if n @ inward > 0:
        n = -n
    angle = math.acos(float(np.clip(-inward @ d, -1, 1)))  # between the layer and the fold's side
    corner = ridge - inward * (b.card_mm / max(math.sin(angle), 0.3))
    sag = b.sagitta_mm.get(f"fold {side}", 0.0)
    down = ridge + n * b.card_mm + d * b.tab_mm * 0.9
    line = np.vstack([line, corner, down] if sag == 0 else [line, corner])
    span = math.hypot(*(corner - top))
    start = b.tab_mm + size
    cutter.cut(
        line,
        "card",
        b.card_mm,
        b.strip_depth_mm,
        {f"leg {side}": (b.tab_mm, start), f"layer {side}": (start, start + span)},
    )


def plane(cutter: Cutter, joints: Mapping[str, Array], stage: str = "") -> None:
    """Add one card over the whole plane (or one half, hemmed over the other side of the fold)."""
    b = cutter.build
    ridge = joints[f"{stage}ridge"]
    edges = {s: f"{stage}plane edge {s}" for s in SIDES}
    ends = {s: joints[k] for s, k in edges.items() if k in joints}
    if len(ends) == 2:
        line = parallel(np.array([ends["left"], ridge, ends["right"]]), b.card_mm)
        left, right = (math.hypot(*(ends[s] - ridge)) for s in SIDES)
        panels = {f"{stage}plane left": (0.0, left), f"{stage}plane right": (left, left + right)}
        line = _creased(line, b.crease_off_mm)
    else:
        side, end = next(iter(ends.items()))
        other = "left" if side == "right" else "right"
        sign = 1.0 if side == "right" else -1.0
        hem = ridge + toward(ridge, joints[f"inner foot {other}"]) * b.tab_mm
        line = parallel(np.array([hem, ridge, end]), sign * b.card_mm)
        size = math.hypot(*(end - ridge))
        panels = {f"plane {side}": (b.tab_mm, b.tab_mm + size)}
    cutter.cut(line, "plane", b.card_mm, b.strip_depth_mm, panels)


def _creased(line: Array, off: float) -> Array:
    """Return the plane with its own crease, a shallow groove `off` mm right of the ridge."""
    if off == 0:
        return line
    a, b = (line[1], line[2]) if off > 0 else (line[1], line[0])
    u = (b - a) / math.hypot(*(b - a))
    down = np.array([u[1], -u[0]]) * (1 if off > 0 else -1)
    groove = [a + u * (abs(off) + k) + down * z for k, z in ((-0.7, 0.0), (0.0, 0.13), (0.7, 0.0))]
    groove = [g for g, k in zip(groove, (-0.7, 0, 0.7), strict=True) if abs(off) + k > 0.05]
    if off > 0:
        return np.vstack([line[:2], groove, line[2:]])
    return np.vstack([line[:1], groove[::-1], line[1:]])


def props(joints: Mapping[str, Array], opening_deg: float, build: Build) -> tuple[list[Part], float]:
    """Blocks that hold the pages of a spread that is not flat, and the height of the table.

    Returns
    -------
    parts : the blocks, in the dummy frame.
    table : y of the table top.
    """
    under = build.card_mm / 2 + build.base_mm
    h = math.radians(opening_deg) / 2
    table = -under / math.sin(h)
    if opening_deg > 178.5:
        return [], table - (0 if opening_deg == 180 else 0.02)
    out = []
    for side in SIDES:
        edge = joints[f"fore edge {side}"]
        reach, sign = 0.8 * math.hypot(*edge), (1.0 if side == "right" else -1.0)
        u = page_direction(side, opening_deg)
        n = np.array([-u[1], u[0]]) * sign
        p = reach * u - (under + 0.02) * n
        q = p - 26.0 * u
        outline = np.array([[q[0], table], [p[0], table], p, q])
        for z0, z1 in ((-4.0, -build.behind_mm + 4.0),):
            out.append(Part(prism(outline, z0, z1), "prop"))
    return out, table


def merged(parts: list[Part]) -> dict[str, Mesh]:
    """One mesh for each kind of stuff."""
    kinds = sorted({p.stuff for p in parts})
    return {k: join([p.mesh for p in parts if p.stuff == k]) for k in kinds}
