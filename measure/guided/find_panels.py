"""Finding every panel of a layout: chosen together, each near end refined, what fails named."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from capture.arrays import Array
from measure.edges.line_fit import TUNED as FITTING
from measure.edges.line_fit import refine
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.guided.choose_lines import Choice, PanelLines
from measure.guided.first_choice import FirstChoice, choose_first, rough_curves
from measure.guided.found_panel import FoundPanel
from measure.guided.page.page_fit import LevelShift, fit_pages, page_groups
from measure.guided.panel_doubt import doubt
from measure.guided.panel_surroundings import TUNED as SURROUNDINGS
from measure.guided.panel_surroundings import median_tone
from measure.guided.placement import Placement
from measure.guided.plane_halves import astray, fit_plane, overrun, settled_planes
from measure.guided.rival_lines import settled_strips
from measure.layout import Layout, Role
from measure.reasons import Unseen, WhyUnseen
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FindNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    rounds: int = 2
    """Fits are made at most so often: the first ones tell the tone of cut edges better ..."""
    same_tone: float = 0.15
    """... but are not repeated for a change of less (natural logarithm)."""
    trim_mm: float = 1.5
    """So much of a panel's two ends is not used."""
    strip_sd: float = 0.1
    """Standard uncertainty of where joints lie in a strip, in thicknesses of its card."""
    tone_reach_mm: float = 0.1
    """The tone is read within this of a fitted line, ..."""
    tone_step_mm: float = 0.05
    """... in such steps."""


TUNED = FindNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Finding:
    """What was found in one photo.

    Attributes
    ----------
    panels : panel name -> its near end; only panels found.
    missing : panel name -> why it was not found.
    choice : the combination of rough lines.
    joint_shift : foot -> displacement (2,) of its own tab from the page's line, where the tab was seen.
    layout : the layout at the opening at which the dummy was found.
    tone : grey value of cut edges in this photo, if it could be told.
    level_shifts : what is uncertain about the pages' lines, one independent way after the other (see
        `measure.guided.page.page_fit.PagesFound`).
    faint : pages whose edge hardly shows.
    """

    panels: Mapping[str, FoundPanel]
    missing: Mapping[str, WhyUnseen]
    choice: Choice | None
    layout: Layout
    joint_shift: Mapping[str, Array] = field(default_factory=dict)
    tone: float | None = None
    level_shifts: tuple[LevelShift, ...] = ()
    faint: tuple[str, ...] = ()


def find_layout(scene: Scene, placements: Sequence[Placement]) -> Finding:
    """Find all panels of the scene's layout; those that the photo does not show are named as missing.

    The layout is looked for at every placement (see `measure.guided.places_to_try`); the one that explains
    the photo best counts.
    """
    no_trace = WhyUnseen(kind=Unseen.NO_TRACE)
    first = choose_first(scene, placements)
    if first is None:
        missing = {p.name: no_trace for p in scene.layout.panels}
        return Finding(panels={}, missing=missing, choice=None, layout=scene.layout)
    scene = scene.with_layout(first.layout).with_tone(first.tone)
    rough = rough_curves(first, scene.region)
    scene, found = _standing(scene, first, rough)
    missing = _not_believed(scene, found)
    found = {name: panel for name, panel in found.items() if name not in missing}
    seen = {item.panel.name for item in first.items}
    missing |= {p.name: no_trace for p in scene.layout.panels if p.name not in seen}
    pages = [item for item in first.items if item.panel.role is Role.PAGE]
    on_page = [fit_pages(scene, group, rough, found) for group in page_groups(scene.layout, pages)]
    return Finding(
        panels={**found, **{name: panel for p in on_page for name, panel in p.panels.items()}},
        missing=missing,
        choice=first.choice,
        layout=scene.layout,
        joint_shift={joint: shift for p in on_page for joint, shift in p.joint_shift.items()},
        tone=scene.tone,
        level_shifts=tuple(shift for p in on_page for shift in p.level_shifts),
        faint=tuple(name for p in on_page if p.faint for name in p.panels),
    )


def _standing(
    scene: Scene, first: FirstChoice, rough: Mapping[str, Curve]
) -> tuple[Scene, dict[str, FoundPanel]]:
    """Fit every panel but the pages; return the scene with the tone of cut edges they show, and the fits."""
    items = [i for i in first.items if i.panel.role is not Role.PAGE]
    found: dict[str, FoundPanel] = {}
    for _ in range(TUNED.rounds):
        found = {item.panel.name: _fit_panel(scene, item, rough[item.panel.name]) for item in items}
        before = scene.tone
        scene = scene.with_tone(_cut_edge_tone(scene, items, found))
        if before and scene.tone and abs(np.log(scene.tone / before)) < TUNED.same_tone:
            break
    return scene, settled_planes(scene, items, settled_strips(scene, first, found))


def _not_believed(scene: Scene, found: Mapping[str, FoundPanel]) -> dict[str, WhyUnseen]:
    """Panels that the photo does not support, or that cannot be what they were taken for, with the reason."""
    doubts = {name: doubt(panel.fit) for name, panel in found.items()}
    missing = {name: why for name, why in doubts.items() if why is not None}
    return missing | overrun(scene, found) | astray(scene.layout, found)


def _cut_edge_tone(scene: Scene, items: list[PanelLines], found: Mapping[str, FoundPanel]) -> float | None:
    """Grey value of the card's cut edge: all of them face the camera alike. None if no fit shows it."""
    tones: list[Array] = []
    for item in items:
        fit = found[item.panel.name].fit
        template = scene.template(fit.curve, item.panel)
        s = stations_for(fit.curve, TUNED.trim_mm, TUNED.trim_mm)
        evidence = scene.edges.scan(
            fit.curve, s, reach_mm=TUNED.tone_reach_mm, step_mm=TUNED.tone_step_mm, template=template
        )
        k = int(np.argmin(np.abs(evidence.offsets_mm)))
        both = np.minimum(evidence.outer[:, k], evidence.inner[:, k]) > SURROUNDINGS.clear_step
        tones.append(evidence.middle[both, k])
    return median_tone(tones)


def _fit_panel(scene: Scene, item: PanelLines, rough: Curve) -> FoundPanel:
    if item.panel.role is Role.PLANE:
        return fit_plane(scene, item, rough, FITTING.reach_mm)
    trim = (TUNED.trim_mm, TUNED.trim_mm)
    fit = refine(scene.edges, rough, scene.template(rough, item.panel), trim_mm=trim)
    return FoundPanel(fit=fit, hinge=fit.curve, layer_sd_mm=TUNED.strip_sd * scene.layout.card_mm)
