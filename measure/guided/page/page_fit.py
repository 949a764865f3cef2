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
from measure.guided.page.page_belief import Belief, Height, believed_level
from measure.guided.page.page_level import TUNED as LEVEL
from measure.guided.page.page_level import PageLevel, page_level
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
    setback_sd_mm: float = 0.3
    """... of how far before them it lies, where the design tells that (by a rule; how unevenly the near
    ends are cut counts by itself), ..."""
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
    least_rise: float = 0.2
    """Strips that lie more nearly along the page (sine) do not tell its level by their length."""
    alike: float = 0.5
    """How much of what marks leave uncertain about one page's height is so of the other's, too: one print."""
    bend: float = 0.0021
    """Each page of a spread that lies flat rises from the common line by so much (radians; root mean square
    over 774 random spreads, 0.12 degrees)."""
    unsure_page_mm: float = 0.2
    """A page's edge known no better hardly shows."""
    least_heights: int = 2
    """Heights that tell whether a level is too low."""


TUNED = PageFitNumbers()


LevelShift = Mapping[str, tuple[float, float]]
"""Page -> shift of its line's two ends, mm along the line's normal."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PagesFound:
    """One page, or two that lie flat together.

    Attributes
    ----------
    panels : page -> its near end.
    joint_shift : foot -> displacement (2,) of its own tab from the page's line, where the tab was seen.
    level_shifts : what is uncertain about the line that they share, one independent way after the other: page
        -> how far (mm, along its line's own normal) one standard uncertainty shifts its line's two ends.
    faint : whether the page hardly shows.
    """

    panels: Mapping[str, FoundPanel]
    joint_shift: Mapping[str, Array] = field(default_factory=dict)
    level_shifts: tuple[LevelShift, ...] = ()
    faint: bool = False


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
    if marks is not None and marks.upper:
        return _marked_pages(layout, pages, marks)
    first, last = pages[0], pages[-1]
    a = rough[first.panel.name].b if len(pages) == 2 else rough[first.panel.name].a
    up = -first.up if len(pages) == 2 else first.up
    shift = up * (layout.base_mm + layout.card_mm) / 2
    start = Curve(a=a, b=rough[last.panel.name].b, d0=shift, d1=shift).straightened()
    marked = None if marks is None else _marked_start(marks, layout, pages, start)
    if marked is not None:
        start = marked
    feet = _feet(layout, pages, found, start)
    set_back = marked is None and (layout.setback_mm or 0.0) > 0.0
    if set_back:
        level = _level_set_back(scene, start, len(feet), up=up, realign=len(pages) == 2)
    else:
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
    faint, cov = sd > TUNED.unsure_page_mm, np.zeros((2, 2))
    if marked is None:
        belief = _believed(scene, level.curve, sd, feet, found, up)
        if belief is not None:
            level = replace(
                level,
                curve=belief.curve,
                tab_seen=tuple(s and belief.flush > TUNED.flush for s in level.tab_seen),
            )
            sd, cov = TUNED.page_sd_mm, belief.cov
        else:
            alone = TUNED.edge_alone_sd_mm if layout.setback_mm is None else _edge_sd(scene, level.curve)
            cov = np.full((2, 2), alone**2)
    n = level.n_stations
    tabs = zip(feet, level.foot_up_mm, level.tab_seen, strict=True)
    return PagesFound(
        panels=_panels(layout, pages, level.curve, sd_mm=sd, n_stations=n, score=level.score),
        joint_shift={joint: up * foot_up * level.curve.normal for joint, foot_up, seen in tabs if seen},
        level_shifts=(*_level_shifts(pages, cov), *_bend(pages, level.curve, feet)),
        faint=faint,
    )


def _marked_pages(layout: Layout, pages: list[PanelLines], marks: PageMarks) -> PagesFound:
    """Return pages with marks on their surface, each by its own line; one without goes on in the other's."""
    known = {name: line for name in marks.pages if (line := marked_line(marks, layout, name)) is not None}
    other = next(iter(known.values()))
    panels: dict[str, FoundPanel] = {}
    shifts: list[LevelShift] = []
    common = np.mean([cov.mean() for cov in marks.heights_cov.values()])
    for page in pages:
        name = page.panel.name
        line = known.get(name, Curve(a=other.a, b=2 * other.a - other.b))
        n = max(2, int(line.length))
        panels |= _panels(layout, [page], line, sd_mm=TUNED.page_sd_mm, n_stations=n)
        cov = marks.heights_cov.get(name, np.eye(2) * common)
        shifts += _level_shifts([page], (1 - TUNED.alike) * cov)
    sd = float(np.sqrt(TUNED.alike * common))
    ups = {page.panel.name: page.up * sd for page in pages}
    return PagesFound(
        panels=panels, level_shifts=(*shifts, {name: (shift, shift) for name, shift in ups.items()})
    )


def _level_set_back(scene: Scene, line: Curve, n_feet: int, *, up: float, realign: bool) -> PageLevel:
    """Level of the joints by a page's edge that the design puts in front of the near ends.

    The edge is looked for where it appears in the measuring plane; what lies at the near ends (tabs, feet)
    has no part in it.
    """
    seen = _magnified(line, scene, 1.0 / _magnification(scene))
    level = page_level(scene, seen, [], up=up, realign=realign)
    return replace(
        level,
        curve=_magnified(level.curve, scene, _magnification(scene)),
        foot_up_mm=(0.0,) * n_feet,
        tab_seen=(False,) * n_feet,
    )


def _magnification(scene: Scene) -> float:
    """Return how much smaller what lies at the page's edge is than it looks in the measuring plane."""
    distance = float(scene.plane.eye_mm[2]) - scene.plane.z_mm
    return (distance - (scene.layout.setback_mm or 0.0)) / distance


def _magnified(line: Curve, scene: Scene, factor: float) -> Curve:
    """Return a line seen so much larger about the point of the plane that the eye stands before."""
    eye = scene.plane.eye_mm[:2]
    return Curve(a=eye + factor * (line.a - eye), b=eye + factor * (line.b - eye))


def _edge_sd(scene: Scene, line: Curve) -> float:
    """Return the standard uncertainty of a level by an edge that lies where it is taken to lie."""
    eye = scene.plane.eye_mm
    above = abs(float((eye[:2] - line.points(np.array([0.5]))[0]) @ line.normal))
    by_setback = TUNED.setback_sd_mm * above / (float(eye[2]) - scene.plane.z_mm)
    return float(np.hypot(TUNED.edge_sd_mm, by_setback))


def _level_shifts(pages: list[PanelLines], cov: Array) -> tuple[LevelShift, ...]:
    """Return what is uncertain about a line's two ends, way by way; see `PagesFound.level_shifts`."""
    size, axes = np.linalg.eigh(cov)
    out = []
    for var, axis in zip(size, axes.T, strict=True):
        start, end = np.sqrt(max(float(var), 0.0)) * axis
        out.append(
            {
                p.panel.name: (-float(end), -float(start))
                if len(pages) == 2 and p is pages[0]
                else (float(start), float(end))
                for p in pages
            }
        )
    return tuple(out)


def _bend(pages: list[PanelLines], line: Curve, feet: Mapping[str, float]) -> tuple[LevelShift, ...]:
    """Two pages taken for one line do not lie quite flat: each may rise from the spine by the same angle."""
    if len(pages) != 2 or not feet:
        return ()
    spine = float(np.mean(list(feet.values())))
    start, end = TUNED.bend * spine, TUNED.bend * (line.length - spine)
    left, right = (p.panel.name for p in pages)
    # The first page's line runs the other way: its start is the common line's end, its normal points down.
    return ({left: (end, -start), right: (-start, end)},)


def _believed(
    scene: Scene,
    edge: Curve,
    edge_sd_mm: float,
    feet: Mapping[str, float],
    found: Mapping[str, FoundPanel],
    up: float,
) -> Belief | None:
    """Weigh the edge's level against that of the feet; None if the feet do not show."""
    stood = level_by_feet(scene, edge, _strips(scene.layout, feet, found), up)
    if stood is None:
        return None
    length = stood.curve.length
    return believed_level(
        edge,
        _edge_sd(scene, edge),
        stood,
        _heights(scene.layout, feet, found, stood.curve),
        float(np.clip(np.mean(list(feet.values())) / length, 0.0, 1.0)),
        up,
        own_sd_mm=edge_sd_mm,
        told=scene.layout.setback_mm is not None,
        level_slope_mm=-up * float(stood.curve.tangent[1]) * length if scene.layout.lies_flat else None,
    )


def _heights(
    layout: Layout, feet: Mapping[str, float], found: Mapping[str, FoundPanel], line: Curve
) -> list[Height]:
    """How every strip that stands on a line compares with its nominal length; () where that is not known."""
    out: list[Height] = []
    if not layout.heights_known:
        return out
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
        foot, rise = crossing(line, hinge), abs(float(hinge.tangent @ line.normal))
        if tops and np.all(np.isfinite(foot)) and rise > TUNED.least_rise:
            top = np.median(tops, axis=0)
            nominal = layout.length(panel.joints[0], panel.joints[-1])
            out.append(
                Height(
                    share=float((foot - line.a) @ line.tangent) / line.length,
                    excess_mm=float(np.hypot(*(top - foot))) - nominal,
                    per_mm=1.0 / rise,
                )
            )
    return out if len(out) >= TUNED.least_heights else []


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
