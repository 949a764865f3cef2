"""The measured profile of a dummy with inked near ends."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.camera.view import View
from measure.edges.detectors import edges_of
from measure.guided.placement import Placement
from measure.inked.ink_budget import covariances, solved
from measure.inked.ink_lines import InkLines, Located
from measure.inked.ink_pages import KnownPages, marked_lines, pages_from_tabs
from measure.inked.measure_ink import InkMeasured, measure_ink
from measure.inked.near_end_depths import astray, evenness
from measure.joints.joint_location import why_not
from measure.layout import Layout
from measure.profile import PanelFit, Profile
from measure.scene import Scene

ARCH_OFFSET_SD_MM = 1.0
"""Near ends behind a sheet set up at them: seen up to 1.5 mm."""

USUAL_WHITE = 0.57
"""Grey value of the sheet's paper, full scale = 1, in the photos on which this room's numbers were found."""

DIM_WHITE = 0.45
"""A photo with darker paper, in which no ink shows, is looked at again as if it were exposed as usual."""

LEAST_WHITE = 0.12
"""No photo is brightened as if its paper were darker than this: noise would be taken for ink."""


def inked_profile(
    scene: Scene,
    view: View,
    placements: Sequence[Placement],
    known: KnownPages | None = None,
    *,
    offset_sd_mm: float | None = None,
) -> tuple[Profile, Layout] | None:
    """Measure a dummy whose near ends are inked; None if they are not.

    Parameters
    ----------
    view : the solved view. placements : where the layout may lie. known : the pages, if marks tell them.
    offset_sd_mm : how well the near ends' distance from the measured plane is known; None: as an arch's that
        was set up at them.

    Returns
    -------
    The profile, in the plane in which the near ends stand, and the layout at the opening found.
    """
    plane = scene.plane
    marked = marked_lines(known, plane.z_mm)
    ink = measure_ink(scene, placements, marked)
    if ink is None and scene.white is not None and scene.white < DIM_WHITE:
        ink = measure_ink(_usually_lit(scene), placements, marked)
    if ink is None:
        return None
    layout = ink.layout
    pages = known if known is not None else pages_from_tabs(ink, plane.z_mm, flat=layout.lies_flat)
    lines = InkLines(
        layout=layout,
        eye_mm=plane.eye_mm,
        z_mm=plane.z_mm,
        strips={name: fit.curve for name, fit in ink.strips.items()},
        tabs={foot: tab.line for foot, tab in ink.tabs.items()},
        edges={name: edge.curve for name, edge in ink.edges.items()},
        up={name: edge.up for name, edge in ink.edges.items()},
        ends={name: end.along_mm for name, end in ink.ends.items()},
        card_mm=ink.line.width_mm,
        plane_mm=ink.plane_mm,
        pages=pages.surfaces,
        heights_cov=pages.heights_cov,
        spine_mm=pages.spine_mm,
        pages_marked=known is not None,
        offset_sd_mm=offset_sd_mm or ARCH_OFFSET_SD_MM,
    )
    tab_sd = {foot: tab.sd_mm for foot, tab in ink.tabs.items()}
    two_sided = {foot: tab.two_sided for foot, tab in ink.tabs.items()}
    while foot := astray(lines, tab_sd, two_sided):
        lines = replace(lines, tabs={f: t for f, t in lines.tabs.items() if f != foot})
    lines = replace(lines, own_sd_mm=evenness(lines, tab_sd))
    located, depths = solved(lines, tab_sd)
    sources, gain, panels = covariances(ink, lines, pages, view, tab_sd)
    found = {*located.lines}
    return Profile(
        joints=located.names,
        xy_mm=located.xy_mm,
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        extra_arc_mm={
            name: 8 * fit.curve.bow**2 / (3 * fit.curve.length)
            for name, fit in [*ink.strips.items(), *ink.edges.items()]
        },
        panels=tuple(_panel_fit(ink, located, p.name) for p in layout.panels),
        undetermined={
            joint: why_not(layout, found, joint) for joint in layout.joint_names if joint not in located.names
        },
        standoff_mm=plane.z_mm + float(depths.unknowns[0]),
        near_ends=panels,
        near_end_gain=gain,
        near_end_sd_mm=layout.near_end_sd_mm,
        inked=True,
    ), layout


def _usually_lit(scene: Scene) -> Scene:
    """Return the scene as if exposed for usual paper: what is as dark as ink is told by the paper's white."""
    if scene.white is None:
        return scene
    times = np.float32(USUAL_WHITE / max(scene.white, LEAST_WHITE))
    return replace(scene, edges=edges_of(replace(scene.plane, grey=scene.plane.grey * times)))


def _panel_fit(ink: InkMeasured, located: Located, name: str) -> PanelFit:
    fit = ink.strips.get(name) or ink.edges.get(name)
    if name not in located.lines:
        return PanelFit.unseen(name, ink.missing.get(name))
    curve = located.lines[name]
    t = curve.tangent
    return PanelFit(
        name=name,
        found=True,
        reason=None,
        line_mm=curve.points(np.linspace(0, 1, 13)),
        angle_rad=float(np.arctan2(t[1], t[0])),
        sagitta_mm=curve.bow,
        rms_mm=0.0 if fit is None else fit.rms_mm,
        n_used=0 if fit is None else fit.n_used,
        n_stations=0 if fit is None else fit.n_stations,
    )
