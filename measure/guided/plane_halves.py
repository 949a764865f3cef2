"""The two halves of the floating plane: their fits, and the level their joints lie on."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.edges.line_fit import Fit, refine
from measure.edges.stations import stations_for
from measure.geometry import Curve, crossing
from measure.guided.choose_lines import PanelLines
from measure.guided.found_panel import FoundPanel
from measure.guided.panel_doubt import doubt
from measure.guided.plane_layers import joints_under_plane
from measure.layout import Layout, Role
from measure.reasons import Unseen, WhyUnseen
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneHalfNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies, some creased off the ridge."""

    trim_mm: float = 1.0
    """So much of a plane half's two ends is not used."""
    layers_off: tuple[int, ...] = (-2, -1, 1, 2)
    """A half that is doubted is looked for so many thicknesses off: another layer's edge."""
    apex_min_sine: float = 0.35
    """Folds that cross at a smaller angle do not place the ridge in height."""
    ridge_gap_mm: float = 0.35
    """A half that misses the ridge by more is fitted again nearer to it, ..."""
    again_reach_mm: float = 0.25
    """... within this, ..."""
    better_share: float = 0.6
    """... and taken if it then misses it by less than that share ..."""
    least_share: float = 0.5
    """... and keeps at least that share of its evidence."""
    astray_mm: float = 2.0
    """A strip may be glued on beside the ridge, but not through the air."""
    beyond_mm: tuple[float, float] = (0.9, 3.0)
    """Stretch beyond the crossing with the plane in which a leg must not be seen, ..."""
    beyond_station_mm: float = 0.3
    """... looked at every so many mm, ..."""
    beyond_reach_mm: float = 0.2
    """... within this of its line, ..."""
    beyond_step_mm: float = 0.1
    """... in such steps."""
    goes_on_share: float = 0.6
    """A station with that share of the leg's own evidence shows it going on, ..."""
    most_of_it: float = 0.8
    """... and so must that share of them."""


TUNED = PlaneHalfNumbers()


def fit_plane(scene: Scene, item: PanelLines, rough: Curve, reach_mm: float) -> FoundPanel:
    """Fit a plane half's card, and find the line its joints lie on from the layers under it."""
    template = scene.template(rough, item.panel)

    def fitted(start: Curve) -> Fit:
        return refine(
            scene.edges,
            start,
            template,
            trim_mm=(TUNED.trim_mm, TUNED.trim_mm),
            stack_up=item.up,
            reach_mm=reach_mm,
        )

    fit = fitted(rough)
    if doubt(fit):
        # The rough line may run along another layer's edge: look one and two thicknesses off.
        starts = [replace(rough, d0=k * template.card_mm, d1=k * template.card_mm) for k in TUNED.layers_off]
        tries = [fitted(s.straightened()) for s in starts]
        fit = max([fit, *tries], key=lambda f: f.mean_score if np.isfinite(f.rms_mm) else 0.0)
    spacing = scene.layout.length(item.panel.joints[0], item.panel.joints[1])
    under = joints_under_plane(scene.edges, fit.curve, template, up=item.up, spacing_mm=spacing)
    shift = item.up * under.up_mm
    hinge = replace(fit.curve, d0=shift, d1=shift).straightened()
    return FoundPanel(fit=fit, hinge=hinge, layer_sd_mm=under.err_mm)


def overrun(scene: Scene, found: Mapping[str, FoundPanel]) -> dict[str, WhyUnseen]:
    """Planes through which a leg goes on: what was taken for the plane is some other edge behind the leg.

    A leg ends at the plane it carries. One leg may seem to go on where the plane's own side edge lies in line
    with it, so every leg seen must do so. Returned: plane panel -> reason.
    """
    layout = scene.layout
    out: dict[str, WhyUnseen] = {}
    n_seen = 0
    for leg in layout.panels:
        if leg.role is not Role.LEG or leg.name not in found:
            continue
        top = leg.joints[-1]
        carried = [p.name for p in layout.panels if p.role is Role.PLANE and top in p.joints]
        for name in carried:
            if name not in found:
                continue
            n_seen += 1
            curve = found[leg.name].fit.curve
            at = crossing(curve, found[name].hinge)
            if not np.all(np.isfinite(at)):
                continue
            start, end = (at + d * curve.tangent for d in TUNED.beyond_mm)
            beyond = Curve(a=start, b=end)
            template = scene.template(beyond, leg)
            s = stations_for(beyond, 0.0, 0.0, TUNED.beyond_station_mm)
            evidence = scene.edges.scan(
                beyond, s, reach_mm=TUNED.beyond_reach_mm, step_mm=TUNED.beyond_step_mm, template=template
            )
            goes_on = evidence.score.max(axis=1) > TUNED.goes_on_share * found[leg.name].fit.mean_score
            if np.mean(goes_on) > TUNED.most_of_it:
                out[name] = WhyUnseen(kind=Unseen.LEG_GOES_ON, names=(leg.name,))
    return out if n_seen > 1 and len(out) == n_seen else {}


def astray(layout: Layout, found: Mapping[str, FoundPanel]) -> dict[str, WhyUnseen]:
    """Planes that pass by the ridge: what was taken for them is some other edge. Plane panel -> reason."""
    folds = [p for p in layout.panels if p.role is Role.FOLD and p.name in found]
    out: dict[str, WhyUnseen] = {}
    for half in layout.panels:
        if half.role is not Role.PLANE or half.name not in found:
            continue
        apex = _apex([found[f.name].hinge for f in folds if half.joints[0] in f.joints])
        gap = 0.0 if apex is None else abs(_gap(apex, found[half.name].hinge))
        if gap > TUNED.astray_mm:
            out[half.name] = WhyUnseen(kind=Unseen.MISSES_RIDGE, mm=gap)
    return out


def _apex(folds: list[Curve]) -> Array | None:
    """Where two folds cross; None where they do not place the ridge in height."""
    if len(folds) != 2 or abs(float(folds[0].tangent @ folds[1].normal)) < TUNED.apex_min_sine:
        return None
    return crossing(*folds)


def _gap(apex: Array, hinge: Curve) -> float:
    """How far the ridge lies from a plane's line, + to its left."""
    return float((apex - hinge.a) @ hinge.normal)


def settled_planes(
    scene: Scene, standing: list[PanelLines], found: Mapping[str, FoundPanel]
) -> dict[str, FoundPanel]:
    """Return the panels with plane halves fitted again nearer to the ridge where their joints miss it.

    Where only one edge of the plane shows, it may have been taken for another layer's, one or two
    thicknesses off; the folds then know better, as long as the photo supports the other place too.
    """
    out = dict(found)
    apex = _apex([found[i.panel.name].hinge for i in standing if i.panel.role is Role.FOLD])
    if apex is None:
        return out
    for item in standing:
        name = item.panel.name
        if item.panel.role is not Role.PLANE:
            continue
        before = found[name]
        gap = _gap(apex, before.hinge)
        if abs(gap) < TUNED.ridge_gap_mm:
            continue
        start = replace(before.fit.curve, d0=gap, d1=gap).straightened()
        again = fit_plane(scene, item, start, TUNED.again_reach_mm)
        nearer = abs(_gap(apex, again.hinge)) < TUNED.better_share * abs(gap)
        kept = again.fit.mean_score > TUNED.least_share * before.fit.mean_score
        if nearer and not doubt(again.fit) and kept:
            out[name] = again
    return out
