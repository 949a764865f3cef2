"""From a scene to all its inked lines: found, fitted, what is not to be believed left out with its reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from measure.edges.dark_line import DarkLine
from measure.edges.line_fit import Fit
from measure.geometry import Curve, crossing
from measure.guided.placement import Placement
from measure.inked.feet import PageFrame, choose_tabs, turned_along
from measure.inked.find_lines import InkFound, RoughLine, find_ink
from measure.inked.foot_tabs import Tab, TabPlace, fit_tab, tab_places
from measure.inked.ink_end import InkEnd, find_ink_end
from measure.inked.ink_fit import InkFit, common_width, fit_near_end
from measure.inked.plane_edge import PlaneEdge, card_of_plane, fit_upper_edge, median_of
from measure.layout import Layout, Panel, Role
from measure.measuring_plane import MeasuringPlane
from measure.reasons import Unseen, WhyUnseen
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class InkNumbers:
    """Numbers of the measurement; found on path-traced photographs of inked dummies."""

    least_blur_mm: float = 0.03
    below_ridge_mm: float = 11.5
    """Left out at a fold's upper end, where a gluing tab doubles it ..."""
    most_left_out: float = 0.4
    """... but not more than this share of the fold."""
    trim_mm: float = 2.0
    reach_mm: float = 5.0
    """A foot is that near to its nominal height; where marks tell the page ..."""
    marked_reach_mm: float = 1.5
    """... it is that near to it."""
    least_share: float = 0.4
    """A near end seen at fewer of its stations is not believed ..."""
    fair_share: float = 0.6
    fair_rms_mm: float = 0.04
    """... nor one seen at fewer than this share that scatters by more."""
    firm_stations: int = 5
    """A near end seen from both sides at so many stations, ..."""
    firm_span: float = 0.25
    """... over that share of its length, ..."""
    few_share: float = 0.25
    """... or one of which that share of all stations shows at least the face's step, ..."""
    firm_rms_mm: float = 0.02
    """... and so evenly, is believed however many others show nothing: there the dark behind hides it."""
    most_rms_mm: float = 0.08
    partly_one_sided: float = 0.2
    """Nor one seen at few stations of which more than this share see the face's step only: a pen skipped."""
    mostly_one_sided: float = 0.7
    one_sided_rms_mm: float = 0.03
    """A line of which mostly the face's step is seen must be even: a face seen edge-on has two near by."""
    most_bow_mm: float = 2.3
    turned: float = 0.01
    """Pages found turned by more (radians) against where the layout was laid are looked along again."""
    beside_leg_mm: tuple[float, float] = (1.5, 8.0)
    """Stretch beyond the last leg on which the plane's card is seen alone."""
    before_end_mm: float = 1.0


TUNED = InkNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InkMeasured:
    """What was measured of an inked dummy in one photo, in the measured plane.

    Attributes
    ----------
    layout : at the opening at which it was found.
    found : the rough lines.
    line : the ink's width, the blur. width_sd_mm : of the width.
    strips : fold or leg -> fit. edges : plane half -> fit of its UPPER edge.
    tabs : foot -> its tab. ends : plane half -> where it ends.
    plane_mm : thickness of the plane's card. plane_seen : whether it was seen or taken from the design.
    frames : page -> its frame.
    missing : panel -> why it is not believed.
    """

    layout: Layout
    found: InkFound
    line: DarkLine
    width_sd_mm: float
    strips: Mapping[str, InkFit]
    edges: Mapping[str, PlaneEdge]
    tabs: Mapping[str, Tab]
    ends: Mapping[str, InkEnd]
    plane_mm: float
    plane_seen: bool
    frames: Mapping[str, PageFrame]
    missing: Mapping[str, WhyUnseen] = field(default_factory=dict)


def measure_ink(
    scene: Scene, placements: Sequence[Placement], marked: Mapping[str, Curve] | None = None
) -> InkMeasured | None:
    """Measure an inked dummy; None if its near ends are not inked, or nothing is found.

    Parameters
    ----------
    placements : where the layout may lie.
    marked : page -> the line of its joints in the measured plane, from the spine outward, if marks tell it.
    """
    plane = scene.plane
    middle = np.array([(scene.region.left + scene.region.right) / 2, scene.region.bottom])
    scale = plane.view.px_per_mm(middle, plane.z_mm)
    line = DarkLine(width_mm=scene.layout.card_mm, blur_mm=max(scene.blur_px / scale, TUNED.least_blur_mm))
    found = find_ink(scene, placements, line)
    if found is None or not found.inked:
        return None
    layout = found.placement.layout
    standing = [rough for rough in found.lines.values() if rough.panel.role is not Role.PLANE]
    line, width_sd = common_width(plane, [(r.curve, _trim(r)) for r in standing], line)
    missing: dict[str, WhyUnseen] = {
        p.name: WhyUnseen(kind=Unseen.NO_TRACE)
        for p in layout.panels
        if p.role is not Role.PAGE and p.name not in found.lines
    }
    strips: dict[str, InkFit] = {}
    for rough in standing:
        fit = fit_near_end(plane, rough.curve, line, _trim(rough))
        why = _doubt(fit)
        if why is not None:
            missing[rough.panel.name] = why
        elif fit is not None:
            strips[rough.panel.name] = fit
    edges: dict[str, PlaneEdge] = {}
    for rough in found.lines.values():
        if rough.panel.role is not Role.PLANE:
            continue
        edge = fit_upper_edge(plane, rough.curve, rough.up, line)
        why = _doubt(edge)
        if why is not None:
            missing[rough.panel.name] = why
        elif edge is not None:
            edges[rough.panel.name] = edge
    thickness = median_of([_plane_card(plane, layout, edges, p, line) for p in layout.panels])
    plane_mm = layout.card_mm if thickness is None else thickness
    tabs, frames = _tabs(plane, layout, strips, _frames(found.placement, layout, marked or {}), line)
    ends = {
        p.name: end
        for p in layout.panels
        if p.name in edges and p.free_end and (end := _end(plane, layout, p, edges[p.name], line, plane_mm))
    }
    return InkMeasured(
        layout=layout,
        found=found,
        line=line,
        width_sd_mm=width_sd,
        strips=strips,
        edges=edges,
        tabs=tabs,
        ends=ends,
        plane_mm=plane_mm,
        plane_seen=thickness is not None,
        frames=frames,
        missing=missing,
    )


def _trim(rough: RoughLine) -> tuple[float, float]:
    """Stretches at the two ends of a strip that tabs may double."""
    if rough.panel.role is Role.FOLD:
        return TUNED.trim_mm, min(TUNED.below_ridge_mm, TUNED.most_left_out * rough.curve.length)
    return TUNED.trim_mm, TUNED.trim_mm


def _doubt(fit: Fit | None) -> WhyUnseen | None:
    """Why a fit is not believed; None if it is."""
    if fit is None:
        return WhyUnseen(kind=Unseen.INK_UNSEEN)
    share = fit.n_used / fit.n_stations
    if isinstance(fit, InkFit) and abs(fit.curve.bow) <= TUNED.most_bow_mm:
        spread = fit.firm_span >= TUNED.firm_span or share >= TUNED.few_share
        if fit.n_firm >= TUNED.firm_stations and spread and fit.rms_mm < TUNED.firm_rms_mm:
            return None
    if share < TUNED.least_share or (share < TUNED.fair_share and fit.rms_mm > TUNED.fair_rms_mm):
        return WhyUnseen(kind=Unseen.INK_FEW_PLACES, n_seen=fit.n_used, n_tried=fit.n_stations)
    one_sided = fit.one_sided if isinstance(fit, InkFit) else 0.0
    if share < TUNED.fair_share and one_sided > TUNED.partly_one_sided:
        return WhyUnseen(kind=Unseen.INK_FEW_PLACES, n_seen=fit.n_used, n_tried=fit.n_stations)
    if one_sided > TUNED.mostly_one_sided and fit.rms_mm > TUNED.one_sided_rms_mm:
        return WhyUnseen(kind=Unseen.NO_EVEN_LINE, mm=fit.rms_mm)
    if fit.rms_mm > TUNED.most_rms_mm:
        return WhyUnseen(kind=Unseen.NO_EVEN_LINE, mm=fit.rms_mm)
    if abs(fit.curve.bow) > TUNED.most_bow_mm:
        return WhyUnseen(kind=Unseen.BOWED, mm=abs(fit.curve.bow))
    return None


def _plane_card(
    plane: MeasuringPlane, layout: Layout, edges: Mapping[str, PlaneEdge], panel: Panel, line: DarkLine
) -> float | None:
    """Thickness of a plane half's card, seen beyond its last leg; None where it does not show."""
    if panel.name not in edges:
        return None
    last = layout.length(panel.joints[0], panel.joints[-2])
    end = layout.length(panel.joints[0], panel.joints[-1])
    first, beyond = TUNED.beside_leg_mm
    stretch = (last + first, min(last + beyond, end - TUNED.before_end_mm))
    return card_of_plane(plane, edges[panel.name], line, stretch)


def _end(
    plane: MeasuringPlane, layout: Layout, panel: Panel, edge: PlaneEdge, line: DarkLine, plane_mm: float
) -> InkEnd | None:
    nominal = layout.length(panel.joints[0], panel.joints[-1])
    last = layout.length(panel.joints[0], panel.joints[-2])
    return find_ink_end(plane, edge, line, plane_mm, nominal, last)


def _frames(placement: Placement, layout: Layout, marked: Mapping[str, Curve]) -> dict[str, PageFrame]:
    """Direction along every page and up from it: from marks, else from where the layout was found."""
    out: dict[str, PageFrame] = {}
    for page in layout.panels:
        if page.role is not Role.PAGE:
            continue
        a, b = placement.apply(np.stack([layout.at(page.joints[0]), layout.at(page.joints[-1])]))
        top = placement.apply(layout.xy_mm).mean(axis=0)
        line = marked.get(page.name)
        if line is not None:
            a, b = line.a, line.b
        along = (b - a) / np.hypot(*(b - a))
        up = np.array([-along[1], along[0]])
        out[page.name] = PageFrame(along=along, up=up if float((top - a) @ up) > 0 else -up, marked=line)
    return out


def _tabs(
    plane: MeasuringPlane,
    layout: Layout,
    strips: Mapping[str, InkFit],
    frames: Mapping[str, PageFrame],
    line: DarkLine,
) -> tuple[dict[str, Tab], dict[str, PageFrame]]:
    """Return foot -> its tab, for feet on the pages, and the pages' frames as these tabs have them."""
    standing = {p.joints[0]: p.name for p in layout.panels if p.name in strips}
    pages = {
        joint: p.name
        for p in layout.panels
        if p.role is Role.PAGE
        for joint in p.joints[1:]
        if joint in standing
    }
    lines = {foot: _from_page(strips[standing[foot]].curve, frames[page]) for foot, page in pages.items()}
    of = {foot: frames[page] for foot, page in pages.items()}
    groups = [list(pages)] if layout.lies_flat else [[f for f in pages if pages[f] == q] for q in frames]
    groups = [g for g in groups if g]

    def places(of: Mapping[str, PageFrame]) -> dict[str, list[TabPlace]]:
        reach = {
            foot: TUNED.reach_mm if f.marked is None else TUNED.marked_reach_mm for foot, f in of.items()
        }
        return {
            foot: tab_places(plane, lines[foot], f.along, f.up, line, reach[foot]) for foot, f in of.items()
        }

    picked = choose_tabs(places(of), of, groups, loose=True)
    turned = turned_along(picked, of, groups)
    if any(abs(float(turned[foot].along @ of[foot].up)) > TUNED.turned for foot in of):
        of = turned
        picked = choose_tabs(places(of), of, groups)
    out: dict[str, Tab] = {}
    for foot, place in picked.items():
        tab = fit_tab(plane, lines[foot], place, of[foot].along, of[foot].up, line)
        if tab is not None:
            out[foot] = tab
    return out, {**frames, **{pages[foot]: frame for foot, frame in of.items()}}


def _from_page(strip: Curve, frame: PageFrame) -> Curve:
    """Return a strip that starts where it meets its page, if marks tell that."""
    if frame.marked is None:
        return strip
    at = crossing(strip, frame.marked)
    start = float((at - strip.a) @ strip.tangent)
    return replace(strip, a=strip.points(np.array([start / strip.length]))[0], bow=0.0)
