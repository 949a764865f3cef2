"""Finding every panel of a layout: placed roughly, candidates chosen together, each near end refined."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from capture.arrays import Array
from measure.edges.candidate_lines import Candidate
from measure.edges.line_fit import TUNED as FITTING
from measure.edges.line_fit import Fit, refine
from measure.edges.stations import stations_for
from measure.geometry import Curve, crossing
from measure.guided.choose_lines import Choice, PanelLines, choose
from measure.guided.page.page_fit import fit_pages, page_groups
from measure.guided.panel_doubt import doubt
from measure.guided.panel_surroundings import TUNED as SURROUNDINGS
from measure.guided.panel_surroundings import (
    Look,
    candidates_of,
    look_at,
    median_tone,
    rough_tone,
)
from measure.guided.placement import Placement, place_by_joints, place_layouts
from measure.guided.plane_halves import astray, fit_plane, overrun, settle_planes
from measure.layout import Layout, Role
from measure.page_marks import PageMarks, marked_line, seeds_of
from measure.reasons import Unseen, WhyUnseen
from measure.region import Region
from measure.scene import Scene

N_PLACEMENTS = 3
CONVINCING_OFF = 0
WORTH_TRYING = 0.88  # of the best coarse score
OUTSTANDING = 1.25  # of the middle panel's evidence
OTHER_TONE = 0.35
SAME_TONE = 0.15  # natural logarithm: a fit is not repeated for less
ROLLS_DEG = (-2.0, 0.0, 2.0)
NO_TRACE = WhyUnseen(kind=Unseen.NO_TRACE)
PROPPED_DEG = 3.0  # half of what is missing to flat, from which on it matters which page is raised
ORDER = {Role.PAGE: 0, Role.FOLD: 1, Role.PLANE: 2, Role.LEG: 3}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Finding:
    """What was found in one photo.

    Attributes
    ----------
    fits : panel name -> fit of its near end's middle line; only panels found.
    hinges : panel name -> the line its joints lie on.
    missing : panel name -> why it was not found.
    choice : the combination of rough lines.
    layer_sd : panel name -> what its layers leave uncertain about the place of its joints, mm.
    joint_shift : foot -> displacement (2,) of its own tab from the page's line, where the tab was seen.
    layout : the layout at the opening at which the dummy was found.
    tone : grey value of cut edges in this photo, if it could be told.
    level_shift : for each page (or two flat ones together): page -> shift of its line, mm along its normal,
        by one standard uncertainty of its level.
    """

    fits: Mapping[str, Fit]
    hinges: Mapping[str, Curve]
    missing: Mapping[str, WhyUnseen]
    choice: Choice | None
    layout: Layout
    layer_sd: Mapping[str, float] = field(default_factory=dict)
    joint_shift: Mapping[str, Array] = field(default_factory=dict)
    tone: float | None = None
    level_shift: tuple[Mapping[str, float], ...] = ()


def find_layout(scene: Scene, placements: Sequence[Placement]) -> Finding:
    """Find all panels of the scene's layout; those that the photo does not show are named as missing.

    The layout is looked for at every placement (see `places_to_try`); the one that explains the photo best
    counts.
    """
    layout = scene.layout
    best: tuple[list[PanelLines], Choice, float | None] | None = None
    found_as = layout
    for placement in placements:
        there = scene.with_layout(placement.layout)
        views = [look_at(there, p, placement) for p in sorted(layout.panels, key=lambda p: ORDER[p.role])]
        # A first choice tells how bright the card's cut edges are; with that, the choice is made again.
        first = _chosen(there, views)
        tones = _tones_to_try(there, first[2] if first is not None else None)
        for chosen in (_chosen(there.with_tone(tone), views) for tone in tones):
            if chosen is not None and (best is None or balanced(chosen[1]) > balanced(best[1])):
                best, found_as = chosen, placement.layout
        if best is not None and len(best[0]) == len(layout.panels) and best[1].n_off <= CONVINCING_OFF:
            break  # every panel where it should be: no other place can do better
    if best is None:
        return Finding(
            fits={},
            hinges={},
            missing={p.name: NO_TRACE for p in layout.panels},
            choice=None,
            layout=layout,
        )
    items, choice, tone = best
    scene = scene.with_layout(found_as).with_tone(tone)
    layout = found_as
    rough = _rough_curves(items, choice, scene.region)
    fits: dict[str, Fit] = {}
    hinges: dict[str, Curve] = {}
    layer_sd: dict[str, float] = {p.name: 0.2 * layout.card_mm for p in layout.panels}
    standing = [item for item in items if item.panel.role is not Role.PAGE]
    for _ in range(2):
        for item in standing:
            name = item.panel.name
            fits[name], hinges[name], layer_sd[name] = _fit_panel(scene, item, rough[name])
        before, tone = scene.tone, _cut_edge_tone(scene, standing, fits)
        scene = scene.with_tone(tone)
        if before and tone and abs(np.log(tone / before)) < SAME_TONE:
            break
    settle_planes(scene, standing, fits, hinges, layer_sd)
    doubts = {item.panel.name: doubt(fits[item.panel.name]) for item in standing}
    missing = {name: why for name, why in doubts.items() if why is not None}
    missing |= overrun(scene, fits, hinges)
    missing |= astray(layout, hinges)
    for name in missing:
        del fits[name], hinges[name]
    seen = {item.panel.name for item in items}
    missing |= {p.name: NO_TRACE for p in layout.panels if p.name not in seen}
    pages = [item for item in items if item.panel.role is Role.PAGE]
    joint_shift: dict[str, Array] = {}
    levels = [
        fit_pages(scene, group, rough, fits, hinges, joint_shift) for group in page_groups(layout, pages)
    ]
    return Finding(
        fits=fits,
        hinges=hinges,
        missing=missing,
        choice=choice,
        layout=layout,
        layer_sd=layer_sd,
        joint_shift=joint_shift,
        tone=scene.tone,
        level_shift=tuple(levels),
    )


def balanced(choice: Choice) -> float:
    """Score of a choice in which no panel counts much more than the middle one.

    One fold farther to the side long pages and planes still lie on each other; that two strips are then
    hardly seen must weigh more.
    """
    parts = np.array(list(choice.per_panel.values()))
    return choice.score - float(np.sum(np.maximum(parts - OUTSTANDING * np.median(parts), 0.0)))


def _chosen(scene: Scene, views: list[Look]) -> tuple[list[PanelLines], Choice, float | None] | None:
    """Return candidates, choice and the tone of the edges chosen, under the scene's tone of cut edges."""
    items = [item for item in (candidates_of(scene, view) for view in views) if item.candidates]
    if scene.marks is not None:
        items = [_as_marked(item, scene.marks, scene.layout) for item in items]
    choice = choose(scene.layout, items)
    return None if choice is None else (items, choice, rough_tone(views, items, choice))


def _as_marked(item: PanelLines, marks: PageMarks, layout: Layout) -> PanelLines:
    """Return a page with the line that the marks give as its only candidate; other panels as they are."""
    line = marked_line(marks, layout, item.panel.name) if item.panel.role is Role.PAGE else None
    if line is None:
        return item
    along = np.array([(p - item.base.a) @ item.base.tangent for p in (line.a, line.b)]) / item.base.length
    across = np.array([(p - item.base.a) @ item.base.normal for p in (line.a, line.b)]) - item.hinge_mm
    slope = float((across[1] - across[0]) / (along[1] - along[0]))
    d0 = float(across[0] - slope * along[0])
    return replace(item, candidates=[Candidate(d0_mm=d0, d1_mm=d0 + slope, score=1.0)])


def places_to_try(scene: Scene, seeds: Mapping[str, Array], *, only_there: bool = False) -> list[Placement]:
    """Where the layout may lie: where marks or known joints put it, and where the photo's edges do.

    `seeds` are places (2,) of joints, sheet mm, known beforehand; where two of them lay the layout is
    tried too, but has to explain the photo better than the other places, unless it is to be `only_there`.
    """
    layout, marks = scene.layout, scene.marks
    by_joints = place_by_joints(layout.openings(), seeds)[:N_PLACEMENTS]
    if only_there and by_joints:
        return by_joints
    if marks is not None:
        marked = place_by_joints(layout.openings(), {**seeds_of(marks, layout), **seeds})[:N_PLACEMENTS]
        if marks.has_tick:
            return marked
        by_joints = [*by_joints, *marked]
    placements = [
        p
        for opened in layout.openings()
        for p in place_layouts(scene.plane, [opened], scene.region, _rolls_rad(opened.opening_deg))
    ]
    return [*by_joints, *_distinct(sorted(placements, key=lambda p: -p.score))]


def _rolls_rad(opening_deg: float) -> tuple[float, ...]:
    """How a spread may be turned in the picture: nearly level, or with one page flat and the other raised."""
    lean = (180.0 - opening_deg) / 2
    about = (0.0,) if lean < PROPPED_DEG else (0.0, -lean, lean)
    return tuple(np.deg2rad([turn + roll for turn in about for roll in ROLLS_DEG]))


def _tones_to_try(scene: Scene, seen: float | None) -> list[float | None]:
    """Tones cut edges may have: as seen along the lines chosen first, and that of white card."""
    tones: list[float | None] = [seen]
    if scene.white is not None:
        white = scene.edges.usual_tone(scene.white)
        if seen is None or abs(np.log(seen / white)) > OTHER_TONE:
            tones.append(white)
    return tones


def _distinct(placements: list[Placement]) -> list[Placement]:
    """Placements worth a closer look: good ones, each somewhere else than the better ones."""
    out: list[Placement] = []
    for p in placements:
        near = any(
            np.hypot(p.x_mm - q.x_mm, p.y_mm - q.y_mm) < 6.0 and p.layout.opening_deg == q.layout.opening_deg
            for q in out
        )
        if not near and p.score >= WORTH_TRYING * placements[0].score:
            out.append(p)
    return out[:N_PLACEMENTS]


def _rough_curves(items: list[PanelLines], choice: Choice, region: Region) -> dict[str, Curve]:
    """Chosen lines, cut to the stretch between the joints where they meet their neighbours."""
    lines = {}
    for item in items:
        c = item.candidates[choice.index[item.panel.name]]
        lines[item.panel.name] = (item, replace(item.base, d0=c.d0_mm, d1=c.d1_mm).straightened())
    out: dict[str, Curve] = {}
    for name, (item, curve) in lines.items():
        ends = [curve.a, curve.b]
        for k, joint in ((0, item.panel.joints[0]), (1, item.panel.joints[-1])):
            crossings = [
                crossing(curve, other)
                for other_name, (other_item, other) in lines.items()
                if other_name != name
                and joint in other_item.panel.joints
                and abs(float(curve.tangent @ other.normal)) > 0.2
            ]
            if crossings:
                ends[k] = np.mean(crossings, axis=0)
        if item.panel.role is Role.PAGE:
            ends = _clip(ends[0], ends[1], region)
        out[name] = Curve(a=ends[0], b=ends[1])
    return out


def _clip(a: Array, b: Array, region: Region) -> list[Array]:
    """Cut a-b to what lies inside the region's left and right."""
    s = np.linspace(0, 1, 401)
    xy = a + s[:, None] * (b - a)
    keep = np.flatnonzero((xy[:, 0] > region.left) & (xy[:, 0] < region.right))
    return [xy[keep[0]], xy[keep[-1]]] if len(keep) > 10 else [a, b]


def _cut_edge_tone(scene: Scene, items: list[PanelLines], fits: Mapping[str, Fit]) -> float | None:
    """Grey value of the card's cut edge: all of them face the camera alike. None if no fit shows it."""
    tones: list[Array] = []
    for item in items:
        fit = fits[item.panel.name]
        template = scene.template(fit.curve, item.panel)
        s = stations_for(fit.curve, 1.5, 1.5)
        evidence = scene.edges.scan(fit.curve, s, reach_mm=0.1, step_mm=0.05, template=template)
        k = int(np.argmin(np.abs(evidence.offsets_mm)))
        both = np.minimum(evidence.outer[:, k], evidence.inner[:, k]) > SURROUNDINGS.clear_step
        tones.append(evidence.middle[both, k])
    return median_tone(tones)


def _fit_panel(scene: Scene, item: PanelLines, rough: Curve) -> tuple[Fit, Curve, float]:
    if item.panel.role is Role.PLANE:
        return fit_plane(scene, item, rough, FITTING.reach_mm)
    fit = refine(scene.edges, rough, scene.template(rough, item.panel), trim_mm=(1.5, 1.5))
    return fit, fit.curve, 0.1 * scene.layout.card_mm
