"""Measuring a dummy of which no design is known: trace it, then measure it as if the trace were the design.

The trace (`measure.tracing.straight_stripes`, `measure.tracing.assemble_dummy`) only has to be good to some
millimetres: from it a layout is
made, and the guided measurement (`measure.guided.measure_profile`) finds every near end again, judges it
and refines it.
What it does not confirm is dropped. Names follow the topology: a parallel fold with a plane and legs.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.candidate_lines import best_lines, line_scores
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.layout import Card, Layout, Panel, Role
from measure.part_names import part_name
from measure.profile import Profile
from measure.scene import Scene
from measure.sides import SIDES
from measure.tracing.assemble_dummy import assemble
from measure.tracing.near_ends_in_rows import coarse_line, coarse_template, inked_lines, pale_edges
from measure.tracing.page_lines import Pages, marked_pages
from measure.tracing.straight_stripes import Stripe, distinct, find_stripes, straight_on, without_pattern
from measure.tracing.traced_shape import Half, Shape


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    page_margin_mm: float = 8.0
    """A page reaches at least so far beyond its outermost foot."""
    weak_score: float = 6.0
    """Mean evidence per station of a leg looked for where it should stand, ..."""
    weak_turn: float = 0.12
    """... parallel to its side of the fold within this slope, ..."""
    weak_reach_mm: float = 5.0
    """... where there is at least so much room, ..."""
    weak_inset_mm: float = 3.0
    """... leaving out so much beside fold and plane edge, ..."""
    weak_trim_mm: float = 2.0
    """... and so much of its ends."""
    weak_step_mm: float = 0.1
    """Steps in which it is looked for."""


TUNED = TraceNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Traced:
    """A dummy as traced.

    Attributes
    ----------
    layout : joints and panels, named by their place; positions as traced, spine (or the middle between the
        fold's feet) at the origin.
    at_mm : the joints in sheet coordinates, mm.
    lengths : length name -> its two joints, in the order they are told.
    spine_seen : False for a flat base without a mark: then the spine of the layout is a guess, half way
        between the feet.
    unsure : joints whose place in the trace is a guess; what is measured there is not to be believed.
    named : False if no construction was recognised and the panels only have numbers.
    upper : whether an upper stage stands on the plane; it is not traced.
    """

    layout: Layout
    at_mm: Mapping[str, Array]
    lengths: Mapping[str, tuple[str, str]]
    spine_seen: bool
    unsure: frozenset[str] = frozenset()
    named: bool = True
    upper: bool = False

    def without(self, panels: Collection[str], unsure: Collection[str]) -> "Traced":
        """Return the trace without these panels and the joints and lengths only they had."""
        kept = [p for p in self.layout.panels if p.name not in panels]
        gone = {j for p in self.layout.panels if p.name in panels for j in p.joints}
        gone -= {j for p in kept for j in p.joints if p.role is not Role.PAGE}
        gone -= {"spine"}
        kept = [replace(p, joints=tuple(j for j in p.joints if j not in gone)) for p in kept]
        names = tuple(dict.fromkeys(j for p in kept for j in p.joints))
        layout = replace(
            self.layout,
            panels=tuple(kept),
            joint_names=names,
            xy_mm=np.array([self.layout.at(n) for n in names]),
        )
        return replace(
            self,
            layout=layout,
            at_mm={n: self.at_mm[n] for n in names},
            lengths={k: ends for k, ends in self.lengths.items() if not set(ends) & gone},
            unsure=frozenset(unsure) & set(names),
        )

    def moved(self, profile: Profile) -> "Traced":
        """Return the trace with its joints where they were measured."""
        at = {n: profile.at(n) if n in profile.joints else self.at_mm[n] for n in self.layout.joint_names}
        if not self.spine_seen:
            inner = [p.joints[1] for p in self.layout.panels if p.role is Role.PAGE]
            at["spine"] = (at[inner[0]] + at[inner[1]]) / 2
        turned, opening = _upright(np.array([at[n] for n in self.layout.joint_names]), at)
        layout = replace(
            self.layout, xy_mm=turned, opening_deg=opening if self.spine_seen else self.layout.opening_deg
        )
        return replace(self, layout=layout, at_mm=at)


def stripes_in(scene: Scene, sheet: MarkerSheet) -> list[Stripe]:
    """Return the stripes in the photo that look like near ends, pale or inked, strongest first."""
    straight = straight_on(scene.plane, scene.region)
    pale = find_stripes(straight, pale_edges(scene.edges, coarse_template(scene, straight), straight))
    inked = find_stripes(straight, inked_lines(coarse_line(scene, straight), straight))
    both = distinct(sorted([*pale, *inked], key=lambda s: -s.score))
    return without_pattern(both, scene.plane, sheet)


def known_pages(scene: Scene) -> Pages | None:
    """Return the pages that marks tell; None without marks."""
    return None if scene.marks is None else marked_pages(scene.marks, scene.layout)


def trace(stripes: Sequence[Stripe], scene: Scene) -> Traced | None:
    """Trace a dummy with a parallel fold among stripes; None if none can be made out."""
    shape = assemble(stripes, scene.region.table_mm, scene.plane.eye_mm, known_pages(scene))
    if shape is None:
        return None
    return traced_of(_with_weak_legs(scene, shape), scene.layout.card)


def _with_weak_legs(scene: Scene, shape: Shape) -> Shape:
    """Look for a leg, parallel to the fold's side, under every plane half that has none yet."""
    halves = dict(shape.halves)
    for side, half in shape.halves.items():
        if not half.legs:
            leg = _weak_leg(scene, shape, side, half)
            if leg is not None:
                halves[side] = replace(half, legs=(leg,))
    return replace(shape, halves=halves)


def _weak_leg(scene: Scene, shape: Shape, side: str, half: Half) -> tuple[Array, Array] | None:
    """Foot and top of the line parallel to the fold's side, under the plane, that speaks most for a leg."""
    foot, ridge = shape.feet[side], shape.ridge
    out = half.edge - ridge
    width = float(np.hypot(*out))
    reach = width / 2 - TUNED.weak_inset_mm
    if reach < TUNED.weak_reach_mm:
        return None
    middle = out * (0.5 + TUNED.weak_inset_mm / width)
    curve = Curve(a=foot + middle, b=ridge + middle)
    template = scene.template_at(curve.a)
    s = stations_for(curve, TUNED.weak_trim_mm, TUNED.weak_trim_mm)
    evidence = scene.edges.scan(curve, s, reach_mm=reach, step_mm=TUNED.weak_step_mm, template=template)
    slope = TUNED.weak_turn * curve.length
    n = int((float(evidence.offsets_mm[-1]) - slope) / TUNED.weak_step_mm)
    room = n * TUNED.weak_step_mm
    sums = line_scores(evidence.score, evidence.offsets_mm, s, room, slope)
    found = best_lines(sums, room, 1, 0.5)
    if not found or found[0].score < TUNED.weak_score * len(s):
        return None
    line = replace(curve, d0=found[0].d0_mm, d1=found[0].d1_mm).straightened()
    return line.a, line.b


def traced_of(shape: Shape, card: Card) -> Traced:
    """Name the joints and panels of a shape, in trade words."""
    at: dict[str, Array] = {}
    panels: dict[Role, list[Panel]] = {role: [] for role in (Role.PAGE, Role.FOLD, Role.LEG, Role.PLANE)}
    lengths: dict[str, tuple[str, str]] = {}
    at["spine"] = shape.pages["left"][0]
    at["ridge"] = shape.ridge
    for side in SIDES:
        inner, fold = part_name("inner foot", side), part_name("fold", side)
        at[inner] = shape.feet[side]
        lengths[part_name("foot", side)] = ("spine", inner)
        lengths[fold] = (inner, "ridge")
        panels[Role.FOLD].append(Panel(name=fold, joints=(inner, "ridge"), role=Role.FOLD, side=side))
        half = shape.halves.get(side)
        on_page, on_plane = ["spine", inner], ["ridge"]
        for k, (foot, top) in enumerate(half.legs if half else (), start=1):
            n = 0 if half is None or len(half.legs) == 1 else k
            outer, leg_top, leg = (part_name(kind, side, n) for kind in ("outer foot", "leg top", "leg"))
            at[outer], at[leg_top] = foot, top
            on_page.append(outer)
            on_plane.append(leg_top)
            lengths[part_name("page spacing", side, n)] = (inner, outer)
            lengths[part_name("plane spacing", side, n)] = ("ridge", leg_top)
            lengths[leg] = (outer, leg_top)
            panels[Role.LEG].append(Panel(name=leg, joints=(outer, leg_top), role=Role.LEG, side=side))
        if half is not None:
            edge, plane = part_name("plane edge", side), part_name("plane", side)
            at[edge] = half.edge
            lengths[plane] = ("ridge", edge)
            panels[Role.PLANE].append(
                Panel(name=plane, joints=(*on_plane, edge), role=Role.PLANE, side=side, free_end=True)
            )
        page, fore = part_name("page", side), part_name("fore edge", side)
        at[fore] = _fore_edge(shape, side, at[on_page[-1]])
        panels[Role.PAGE].append(
            Panel(name=page, joints=(*on_page, fore), role=Role.PAGE, side=side, free_end=True)
        )
    if shape.flat:
        inner_left, inner_right = (part_name("inner foot", side) for side in SIDES)
        lengths = {"feet": (inner_left, inner_right), **lengths}
    every = tuple(p for role in panels for p in panels[role])
    names = tuple(dict.fromkeys(j for p in every for j in p.joints))
    turned, opening = _upright(np.array([at[n] for n in names]), at)
    layout = Layout(
        joint_names=names,
        xy_mm=turned,
        panels=every,
        opening_deg=opening if shape.spine_seen else 180.0,
        card_mm=card.card_mm,
        depth_mm=card.depth_mm,
        base_mm=card.base_mm,
        near_end_sd_mm=card.near_end_sd_mm,
        heights_known=False,
    )
    unsure = {part_name("plane edge", s) for s, half in shape.halves.items() if not half.corner}
    return Traced(
        layout=layout,
        at_mm=at,
        lengths=lengths,
        spine_seen=shape.spine_seen,
        unsure=frozenset(unsure),
        upper=shape.upper,
    )


def _fore_edge(shape: Shape, side: str, outermost: Array) -> Array:
    """Outer end of a page as far as it was seen, beyond its outermost foot."""
    inner, end = shape.pages[side]
    way = (end - inner) / float(np.hypot(*(end - inner)))
    reach = max(float((end - inner) @ way), float((outermost - inner) @ way) + TUNED.page_margin_mm)
    out: Array = inner + reach * way
    return out


def _upright(xy: Array, at: Mapping[str, Array]) -> tuple[Array, float]:
    """Points with the spine at the origin and the bisector of the pages upright, and the opening, degrees."""
    left, right = (at[part_name("fore edge", s)] - at["spine"] for s in SIDES)
    to_left, to_right = np.arctan2(left[1], left[0]), np.arctan2(right[1], right[0])
    opening = float((to_left - to_right) % (2 * np.pi))
    up = to_right + opening / 2
    turn = np.pi / 2 - up
    c, s = np.cos(turn), np.sin(turn)
    out: Array = (xy - at["spine"]) @ np.array([[c, s], [-s, c]])
    return out, float(np.rad2deg(opening))
