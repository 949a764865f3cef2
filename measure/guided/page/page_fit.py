"""The pages: one line for two that lie flat, and where on it the feet stand."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from capture.arrays import Array
from measure.edges.line_fit import Fit
from measure.geometry import Curve, crossing
from measure.guided.choose_lines import PanelLines
from measure.guided.found_panel import FoundPanel
from measure.guided.page.foot_level import level_by_feet
from measure.guided.page.page_belief import Belief, believed_level
from measure.guided.page.page_level import TUNED as LEVEL
from measure.guided.page.page_level import page_level
from measure.layout import Layout, Role
from measure.page_marks import PageMarks, marked_line
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFitNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    page_sd_mm: float = 0.05
    """Standard uncertainty of a page's line that shows clearly, ..."""
    edge_sd_mm: float = 0.12
    """... of the level of an edge that lies at the near ends, ..."""
    edge_alone_sd_mm: float = 0.6
    """... where no feet say whether that edge lies at the near ends, ..."""
    unsure_sd_mm: float = 0.5
    """... and of one that other levels explain as well."""
    sure_margin: float = 0.6
    """Evidence per station by which the next best level is worse where a page is sure."""
    bow_var_mm2: float = 1e-6
    """Variance of a page's bow: it is taken to be straight, ..."""
    rms_mm: float = 0.05
    """... and its stations' scatter."""
    layer_sd: float = 0.2
    """What layers leave uncertain about its joints, in thicknesses of the strips' card."""
    flush: float = 0.5
    """Tabs count where the page's edge is likelier than this to lie at the near ends."""
    top_sine: float = 0.3
    """Lines that make less (sine) with a strip do not tell where its top is."""
    least_heights: int = 2
    """Heights that tell whether a level is too low."""


TUNED = PageFitNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PagesFound:
    """One page, or two that lie flat together.

    Attributes
    ----------
    panels : page -> its near end.
    joint_shift : foot -> displacement (2,) of its own tab from the page's line, where the tab was seen.
    level_shift : page -> how far (mm, along its line's own normal) one standard uncertainty of the level that
        they share shifts it.
    """

    panels: Mapping[str, FoundPanel]
    joint_shift: Mapping[str, Array] = field(default_factory=dict)
    level_shift: Mapping[str, float] = field(default_factory=dict)


def page_groups(layout: Layout, pages: list[PanelLines]) -> list[list[PanelLines]]:
    """Pages lying flat are looked at as one line, other pages each on its own."""
    if len(pages) == 2 and layout.lies_flat:
        return [pages]
    return [[page] for page in pages]


def fit_pages(
    scene: Scene,
    pages: list[PanelLines],
    rough: Mapping[str, Curve],
    found: Mapping[str, FoundPanel],
) -> PagesFound:
    """Fit the line of one page, or of two flat pages together.

    Parameters
    ----------
    pages : the page, or the two; rough : their rough lines.
    found : the panels standing on them, as found.
    """
    layout, marks = scene.layout, scene.marks
    first, last = pages[0], pages[-1]
    a = rough[first.panel.name].b if len(pages) == 2 else rough[first.panel.name].a
    up = -first.up if len(pages) == 2 else first.up
    shift = up * (layout.base_mm + layout.card_mm) / 2
    start = Curve(a=a, b=rough[last.panel.name].b, d0=shift, d1=shift).straightened()
    marked = None if marks is None else _marked_start(marks, layout, pages, start)
    if marked is not None:
        start = marked
        if marks is not None and marks.upper:
            n = max(2, int(start.length))
            return PagesFound(
                panels=_panels(layout, pages, start, sd_mm=TUNED.page_sd_mm, n_stations=n),
                level_shift=_level_shift(pages, marks.height_sd),
            )
    feet = _feet(layout, pages, found, start)
    level = page_level(
        scene,
        start,
        list(feet.values()),
        up=up,
        strips=_strips(layout, feet, found),
        reach_mm=LEVEL.reach_mm if marked is None else LEVEL.mark_reach_mm,
        realign=len(pages) == 2 and marked is None,
    )
    # Where another level explains the photo nearly as well, the page line is only known that roughly.
    sd = float(
        np.hypot(TUNED.page_sd_mm, TUNED.unsure_sd_mm * max(0.0, 1.0 - level.margin / TUNED.sure_margin))
    )
    common = 0.0
    if marked is None:
        belief = _believed(scene, level.curve, sd, feet, found, up)
        if belief is not None:
            level = replace(
                level,
                curve=belief.curve,
                tab_seen=tuple(s and belief.flush > TUNED.flush for s in level.tab_seen),
            )
            sd, common = belief.tilt_sd_mm, belief.sd_mm
        else:
            common = TUNED.edge_alone_sd_mm
    n = level.n_stations
    tabs = zip(feet, level.foot_up_mm, level.tab_seen, strict=True)
    return PagesFound(
        panels=_panels(layout, pages, level.curve, sd_mm=sd, n_stations=n, score=level.score),
        joint_shift={joint: up * foot_up * level.curve.normal for joint, foot_up, seen in tabs if seen},
        level_shift=_level_shift(pages, common),
    )


def _level_shift(pages: list[PanelLines], sd_mm: float) -> dict[str, float]:
    """How far the line of each page is shifted, along its own normal, by one sd of the level they share."""
    return {p.panel.name: -sd_mm if len(pages) == 2 and p is pages[0] else sd_mm for p in pages}


def _believed(
    scene: Scene,
    edge: Curve,
    edge_sd_mm: float,
    feet: Mapping[str, float],
    found: Mapping[str, FoundPanel],
    up: float,
) -> Belief | None:
    """Weigh the edge's level against that of the feet; None if the feet do not show."""
    told = level_by_feet(scene, edge, _strips(scene.layout, feet, found), up)
    if told is None:
        return None
    excess = [_excess(scene.layout, feet, found, line) for line in (edge, told.curve)]
    at = float(np.clip(np.mean(list(feet.values())) / edge.length, 0.0, 1.0))
    return believed_level(edge, float(np.hypot(TUNED.edge_sd_mm, edge_sd_mm)), told, excess, at, up)


def _excess(
    layout: Layout, feet: Mapping[str, float], found: Mapping[str, FoundPanel], line: Curve
) -> float | None:
    """By how much the middle one of a page's heights exceeds its nominal, mm; None if that is not known."""
    out = []
    if not layout.heights_known:
        return None
    for panel in layout.panels:
        if panel.joints[0] not in feet or panel.name not in found or panel.role not in (Role.FOLD, Role.LEG):
            continue
        others = [
            found[p.name].hinge
            for p in layout.panels
            if p.name != panel.name and p.name in found and panel.joints[-1] in p.joints
        ]
        hinge = found[panel.name].hinge
        tops = [
            crossing(hinge, other)
            for other in others
            if abs(float(hinge.tangent @ other.normal)) > TUNED.top_sine
        ]
        foot = crossing(line, hinge)
        if tops and np.all(np.isfinite(foot)):
            top = np.median(tops, axis=0)
            out.append(float(np.hypot(*(top - foot))) - layout.length(panel.joints[0], panel.joints[-1]))
    return float(np.median(out)) if len(out) >= TUNED.least_heights else None


def _panels(
    layout: Layout,
    pages: list[PanelLines],
    joints: Curve,
    *,
    sd_mm: float,
    n_stations: int,
    score: float = 0.0,
) -> dict[str, FoundPanel]:
    """Return the pages by the line on which their joints lie, the middle of their cut edge below it."""
    first = pages[0]
    up = -first.up if len(pages) == 2 else first.up
    down = -up * (layout.base_mm + layout.card_mm) / 2
    middle = replace(joints, d0=down, d1=down).straightened()
    out: dict[str, FoundPanel] = {}
    for page in pages:
        turned = len(pages) == 2 and page is first
        line, hinge = (_turned(middle), _turned(joints)) if turned else (middle, joints)
        fit = Fit(
            curve=line,
            cov=np.diag([sd_mm**2, sd_mm**2, TUNED.bow_var_mm2]),
            rms_mm=TUNED.rms_mm,
            n_used=n_stations,
            n_stations=n_stations,
            mean_score=score,
        )
        layer_sd = TUNED.layer_sd * layout.card_mm
        out[page.panel.name] = FoundPanel(fit=fit, hinge=hinge, layer_sd_mm=layer_sd)
    return out


def _strips(layout: Layout, feet: Mapping[str, float], found: Mapping[str, FoundPanel]) -> list[Curve]:
    """Near ends of the strips that stand at the feet."""
    standing = {
        panel.joints[0]: panel
        for panel in layout.panels
        if panel.role in (Role.FOLD, Role.LEG) and panel.name in found
    }
    return [found[standing[foot].name].fit.curve for foot in feet if foot in standing]


def _marked_start(marks: PageMarks, layout: Layout, pages: list[PanelLines], start: Curve) -> Curve | None:
    """Return the line of the joints as marked, over the same stretch as the rough one; None if not marked."""
    lines = [marked_line(marks, layout, page.panel.name) for page in pages]
    known = [line for line in lines if line is not None]
    if not known:
        return None
    if len(known) == 2:
        line = Curve(a=known[0].b, b=known[1].b)
    else:
        line = known[0]
    ends = [line.a + float((p - line.a) @ line.tangent) * line.tangent for p in (start.a, start.b)]
    return Curve(a=ends[0], b=ends[1])


def _turned(curve: Curve) -> Curve:
    return Curve(a=curve.b, b=curve.a, bow=-curve.bow)


def _feet(
    layout: Layout, pages: list[PanelLines], found: Mapping[str, FoundPanel], line: Curve
) -> dict[str, float]:
    """Where strips stand on the pages: foot -> mm along the line, by where their fits cross it."""
    out: dict[str, float] = {}
    on_page = {joint for page in pages for joint in page.panel.joints}
    for panel in layout.panels:
        if panel.role in (Role.FOLD, Role.LEG) and panel.joints[0] in on_page and panel.name in found:
            at = crossing(line, found[panel.name].hinge)
            out[panel.joints[0]] = float((at - line.a) @ line.tangent)
    return out
