"""Finding every panel of a layout: placed roughly, candidates chosen together, each near end refined."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from capture.arrays import Array
from measure.edges.candidate_lines import Candidate
from measure.edges.line_fit import REACH_MM, Fit, refine, scan, stations_for
from measure.edges.straightened import Curve, Plane
from measure.guided.choose_lines import Choice, PanelLines, choose, crossing
from measure.guided.page.apron_marks import Marks, marked_line, seeds_of
from measure.guided.page.page_fit import fit_pages, page_groups
from measure.guided.panel_doubt import doubt, template_for
from measure.guided.panel_surroundings import (
    CARD_SHARE,
    CLEAR_STEP,
    Look,
    candidates_of,
    look_at,
    median_tone,
    rough_tone,
)
from measure.guided.placement import Placement, Region, place_by_joints, place_layouts
from measure.guided.plane_halves import astray, fit_plane, overrun, settle_planes
from measure.layout import Layout, Role

N_PLACEMENTS = 3
CONVINCING_OFF = 0
WORTH_TRYING = 0.88  # of the best coarse score
OUTSTANDING = 1.25  # of the middle panel's evidence
OTHER_TONE = 0.35
SAME_TONE = 0.15  # natural logarithm: a fit is not repeated for less
ROLLS_DEG = (-2.0, 0.0, 2.0)
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
    """

    fits: Mapping[str, Fit]
    hinges: Mapping[str, Curve]
    missing: Mapping[str, str]
    choice: Choice | None
    layout: Layout
    layer_sd: Mapping[str, float] = field(default_factory=dict)
    joint_shift: Mapping[str, Array] = field(default_factory=dict)


def find_layout(
    plane: Plane,
    layout: Layout,
    region: Region,
    blur_px: float,
    seeds: Mapping[str, Array] | None = None,
    paper_white: float | None = None,
    marks: Marks | None = None,
    *,
    only_there: bool = False,
) -> Finding:
    """Find all panels of the layout; those that the photo does not show are named as missing.

    `seeds` are places (2,) of joints, sheet mm, known beforehand; where two of them lay the layout is
    tried too, but has to explain the photo better than the other places, unless it is to be `only_there`.

    `paper_white` is the grey value of the sheet's white paper, which faces the camera as cut edges do.
    `marks` say where the pages and the spine are, if an apron hangs from the base.
    """
    best: tuple[list[PanelLines], Choice, float | None] | None = None
    found_as = layout
    for placement in _places_to_try(plane, layout, region, seeds or {}, marks, only_there):
        views = [
            look_at(plane, placement.layout, p, placement, region, blur_px)
            for p in sorted(layout.panels, key=lambda p: ORDER[p.role])
        ]
        # A first choice tells how bright the card's cut edges are; with that, the choice is made again.
        first = _chosen(placement, views, None, marks)
        tones = _tones_to_try(first[2] if first is not None else None, paper_white)
        for chosen in (_chosen(placement, views, tone, marks) for tone in tones):
            if chosen is not None and (best is None or balanced(chosen[1]) > balanced(best[1])):
                best, found_as = chosen, placement.layout
        if best is not None and len(best[0]) == len(layout.panels) and best[1].n_off <= CONVINCING_OFF:
            break  # every panel where it should be: no other place can do better
    if best is None:
        return Finding(
            fits={},
            hinges={},
            missing={p.name: "no trace of it" for p in layout.panels},
            choice=None,
            layout=layout,
        )
    items, choice, tone = best
    layout = found_as
    rough = _rough_curves(items, choice, region)
    fits: dict[str, Fit] = {}
    hinges: dict[str, Curve] = {}
    layer_sd: dict[str, float] = {p.name: 0.2 * layout.card_mm for p in layout.panels}
    standing = [item for item in items if item.panel.role is not Role.PAGE]
    for _ in range(2):
        for item in standing:
            name = item.panel.name
            fits[name], hinges[name], layer_sd[name] = _fit_panel(
                plane, layout, item, rough[name], blur_px, tone
            )
        before, tone = tone, _cut_edge_tone(plane, layout, standing, fits, blur_px)
        if before and tone and abs(np.log(tone / before)) < SAME_TONE:
            break
    settle_planes(plane, layout, standing, fits, hinges, layer_sd, blur_px, tone)
    missing = {item.panel.name: doubt(fits[item.panel.name]) for item in standing}
    missing = {name: why for name, why in missing.items() if why}
    missing |= overrun(plane, layout, fits, hinges, blur_px)
    missing |= astray(layout, hinges)
    for name in missing:
        del fits[name], hinges[name]
    seen = {item.panel.name for item in items}
    missing |= {p.name: "no trace of it" for p in layout.panels if p.name not in seen}
    pages = [item for item in items if item.panel.role is Role.PAGE]
    joint_shift: dict[str, Array] = {}
    for group in page_groups(layout, pages):
        fit_pages(
            plane, layout, group, rough, fits, hinges, joint_shift, region, blur_px, tone, marks, paper_white
        )
    return Finding(
        fits=fits,
        hinges=hinges,
        missing=missing,
        choice=choice,
        layout=layout,
        layer_sd=layer_sd,
        joint_shift=joint_shift,
    )


def balanced(choice: Choice) -> float:
    """Score of a choice in which no panel counts much more than the middle one.

    One fold farther to the side long pages and planes still lie on each other; that two strips are then
    hardly seen must weigh more.
    """
    parts = np.array(list(choice.per_panel.values()))
    return choice.score - float(np.sum(np.maximum(parts - OUTSTANDING * np.median(parts), 0.0)))


def _chosen(
    placement: Placement, views: list[Look], tone: float | None, marks: Marks | None
) -> tuple[list[PanelLines], Choice, float | None] | None:
    """Return candidates, choice and the tone of the edges chosen, under an assumed tone of cut edges."""
    items = [item for item in (candidates_of(view, tone) for view in views) if item.candidates]
    if marks is not None:
        items = [_as_marked(item, marks, placement.layout) for item in items]
    choice = choose(placement.layout, items)
    return None if choice is None else (items, choice, rough_tone(views, items, choice))


def _as_marked(item: PanelLines, marks: Marks, layout: Layout) -> PanelLines:
    """Return a page with the line that the marks give as its only candidate; other panels as they are."""
    line = marked_line(marks, layout, item.panel.name) if item.panel.role is Role.PAGE else None
    if line is None:
        return item
    along = np.array([(p - item.base.a) @ item.base.tangent for p in (line.a, line.b)]) / item.base.length
    across = np.array([(p - item.base.a) @ item.base.normal for p in (line.a, line.b)]) - item.hinge_mm
    slope = float((across[1] - across[0]) / (along[1] - along[0]))
    d0 = float(across[0] - slope * along[0])
    return replace(item, candidates=[Candidate(d0_mm=d0, d1_mm=d0 + slope, score=1.0)])


def _places_to_try(
    plane: Plane,
    layout: Layout,
    region: Region,
    seeds: Mapping[str, Array],
    marks: Marks | None,
    only_there: bool,
) -> list[Placement]:
    """Where the layout may lie: where marks or known joints put it, and where the photo's edges do."""
    by_joints = place_by_joints(layout.openings(), seeds)[:N_PLACEMENTS]
    if only_there and by_joints:
        return by_joints
    if marks is not None:
        return place_by_joints(layout.openings(), {**seeds_of(marks, layout), **seeds})[:N_PLACEMENTS]
    placements = place_layouts(plane, layout.openings(), region, tuple(np.deg2rad(ROLLS_DEG)))
    return [*by_joints, *_distinct(placements)]


def _tones_to_try(seen: float | None, paper_white: float | None) -> list[float | None]:
    """Tones cut edges may have: as seen along the lines chosen first, and that of white card."""
    tones: list[float | None] = [seen]
    if paper_white is not None:
        white = CARD_SHARE * paper_white
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


def _cut_edge_tone(
    plane: Plane, layout: Layout, items: list[PanelLines], fits: Mapping[str, Fit], blur_px: float
) -> float | None:
    """Grey value of the card's cut edge: all of them face the camera alike. None if no fit shows it."""
    tones: list[Array] = []
    for item in items:
        fit = fits[item.panel.name]
        template = template_for(plane, layout, item.panel, fit.curve, blur_px)
        s = stations_for(fit.curve, 1.5, 1.5)
        evidence = scan(plane, fit.curve, s, 0.1, 0.05, template)
        k = int(np.argmin(np.abs(evidence.offsets_mm)))
        both = np.minimum(evidence.outer[:, k], evidence.inner[:, k]) > CLEAR_STEP
        tones.append(evidence.middle[both, k])
    return median_tone(tones)


def _fit_panel(
    plane: Plane,
    layout: Layout,
    item: PanelLines,
    rough: Curve,
    blur_px: float,
    tone: float | None,
) -> tuple[Fit, Curve, float]:
    template = template_for(plane, layout, item.panel, rough, blur_px)
    if item.panel.role is Role.PLANE:
        return fit_plane(plane, layout, item, rough, template, REACH_MM, tone)
    fit = refine(plane, rough, template, trim_mm=(1.5, 1.5), tone=tone)
    return fit, fit.curve, 0.1 * layout.card_mm
