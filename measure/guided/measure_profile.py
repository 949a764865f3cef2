"""The main job of this room: from a solved view and an expected layout to a measured profile."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import softened
from measure.edges.free_end import find_ending
from measure.edges.line_fit import Fit
from measure.geometry import Curve, crossing
from measure.guided.find_panels import Finding, find_layout, places_to_try
from measure.guided.page.apron_marks import marks_of, with_spine
from measure.inked.ink_pages import pages_of_view
from measure.inked.inked_profile import inked_profile
from measure.joints.by_hand import HandPoint, places_mm, require_sound, with_hand_points
from measure.joints.joint_location import FreeEnd, JointSet, PanelLine, locate_joints
from measure.joints.shared_errors import shared_covs
from measure.layout import Layout, Panel, Role
from measure.measure_errors import MeasureError
from measure.measuring_plane import MeasuringPlane, paper_white, plane_of
from measure.profile import PanelFit, Profile
from measure.reasons import Note, Noted, Unseen, WhyUnseen
from measure.region import search_region
from measure.scene import Scene
from measure.sheet_print import sheet_print

MIN_PANELS = 4  # two pages and two more make a shape
FAR_OFF_MM = 2.5
MOST_OFF = 3  # two faults put up to so many distances off; more mean that something else was found
LEAST_LIFT_MM = 0.1
LEAST_OVERHANG_MM = 1.5
LAYER_GAIN = 1.1
UNSURE_PAGE_MM = 0.2
LOCK_SD_MM = 0.06
LOCK_SD_PX = 0.4


def measure_profile(
    photo: Photo,
    view: View,
    layout: Layout,
    sheet: MarkerSheet,
    *,
    arch: bool,
    bottom_closed: bool = False,
    standoff_mm: float = 0.0,
    standoff_err_mm: float = 0.5,
    blur_px: float = 0.9,
    hand: Sequence[HandPoint] = (),
    seeds: Mapping[str, Array] | None = None,
) -> Profile:
    """Find the panels of the layout in the photo and measure their near ends.

    Parameters
    ----------
    photo, view : the photo and its solved view.
    layout : what is expected.
    sheet : the marker sheet seen, for where to look.
    arch : True if the dummy shows through the cut window, False if the sheet stands behind it.
    bottom_closed : True if the sheet's lower band is in the picture (a window cut without opening it below).
    standoff_mm, standoff_err_mm : height of the near end above the sheet, and its standard uncertainty.
    blur_px : standard deviation of the photo's blur.
    seeds : places (2,) of joints, sheet mm, where the dummy is known to be; it is looked for nowhere else.
    hand : joints pointed at by hand: two or more say where the dummy is; each replaces what is measured.

    Raises
    ------
    MeasureError
        If a hand-set joint is unknown or outside the photo, or too few panels are seen to speak of a
        measurement.
    """
    region = search_region(view, sheet, standoff_mm, arch=arch, bottom_closed=bottom_closed)
    plane = plane_of(photo, view, standoff_mm, region, None if arch else sheet_print(sheet))
    require_sound(hand, layout.joint_names, photo.size)
    scene = Scene(
        edges=edges_of(plane),
        layout=layout,
        region=region,
        blur_px=blur_px,
        white=paper_white(photo, view, sheet),
        marks=marks_of(view, standoff_mm),
    )
    places = {**(seeds or {}), **places_mm(hand, view, standoff_mm)}
    placements = places_to_try(scene, places, only_there=bool(seeds))
    known = pages_of_view(view, layout)
    inked = inked_profile(scene, view, placements, known, offset_sd_mm=None if arch else standoff_err_mm)
    if inked is not None:
        measured, layout = inked
    else:
        finding = find_layout(scene, placements)
        layout = finding.layout
        measured = _profile(scene.with_layout(layout).with_tone(finding.tone), finding, view, standoff_err_mm)
    if scene.marks is not None:
        measured = with_spine(measured, scene.marks, layout, view, standoff_err_mm)
    profile = with_hand_points(
        measured,
        hand,
        view,
        near_end_sd_mm=layout.near_end_sd_mm,
        standoff_err_mm=standoff_err_mm,
    )
    n_found = sum(p.found for p in profile.panels)
    if n_found + len(hand) < MIN_PANELS or len(profile.joints) < MIN_PANELS:
        raise MeasureError(
            f"{photo.name}: the dummy of this design is not seen ({n_found} of {len(profile.panels)} panels "
            "found); check that spec and photo belong together, and arch or backdrop"
        )
    off = far_off(profile, layout)
    if len(off) > MOST_OFF:
        told = ", ".join(f"{a} to {b} {d:+.1f} mm" for (a, b), d in list(off.items())[:3])
        raise MeasureError(
            f"{photo.name}: what was found does not make the dummy of this design ({len(off)} distances far "
            f"off: {told} ...); give the spec that belongs to this dummy, or take the photo against a plain, "
            "darker background"
        )
    return profile


def far_off(profile: Profile, layout: Layout) -> dict[tuple[str, str], float]:
    """Distances between neighbouring joints that are off nominal by more than any strip is cut wrong, mm."""
    out: dict[tuple[str, str], float] = {}
    for panel in layout.panels:
        for a, b in zip(panel.joints[:-1], panel.joints[1:], strict=True):
            if a in profile.joints and b in profile.joints:
                off = float(np.hypot(*(profile.at(b) - profile.at(a)))) - layout.length(a, b)
                if abs(off) > FAR_OFF_MM:
                    out[a, b] = off
    return out


def _profile(scene: Scene, finding: Finding, view: View, standoff_err_mm: float) -> Profile:
    plane, layout = scene.plane, scene.layout
    lines = [
        PanelLine(
            name=panel.name,
            role=panel.role,
            joints=panel.joints,
            curve=finding.hinges[panel.name],
            fit_cov=finding.fits[panel.name].cov + _lock_cov(plane, panel.role, finding.fits[panel.name]),
            layer_sd_mm=finding.layer_sd[panel.name],
            weight_sd_mm=0.08 if panel.role is Role.PLANE else 0.05,
            joint_shift=finding.joint_shift
            if panel.role is Role.PAGE
            else _standing_on(layout, panel, finding.hinges[panel.name]),
        )
        for panel in layout.panels
        if panel.name in finding.hinges
    ]
    ends = _free_ends(scene, finding)
    joints = locate_joints(
        layout,
        lines,
        ends,
        eye_mm=plane.eye_mm,
        standoff_mm=plane.z_mm,
        near_end_sd_mm=layout.near_end_sd_mm,
        level_shifts=finding.level_shift,
    )
    sources = dict(joints.cov_by_source)
    sources |= shared_covs(view, joints.xy_mm, plane.z_mm, standoff_err_mm)
    return Profile(
        joints=joints.names,
        xy_mm=joints.xy_mm,
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        extra_arc_mm={
            name: 8 * fit.curve.bow**2 / (3 * fit.curve.length) for name, fit in finding.fits.items()
        },
        panels=tuple(_panel_fit(layout, p.name, finding, joints) for p in layout.panels),
        undetermined=joints.undetermined,
        standoff_mm=plane.z_mm,
        notes=_notes(layout, finding),
        near_ends=joints.panels,
        near_end_gain=joints.near_end_gain,
        near_end_sd_mm=layout.near_end_sd_mm,
    )


def _notes(layout: Layout, finding: Finding) -> tuple[Note, ...]:
    """Return what the user should know about this measurement."""
    pages = [p.name for p in layout.panels if p.role is Role.PAGE and p.name in finding.fits]
    unsure = [name for name in pages if np.sqrt(finding.fits[name].cov[0, 0]) > UNSURE_PAGE_MM]
    if not unsure:
        return ()
    return (Note(kind=Noted.PAGE_FAINT, names=tuple(unsure)),)


def _standing_on(layout: Layout, panel: Panel, hinge: Curve) -> dict[str, Array]:
    """Displacement (2,) from a plane's line to joints that lie on its other side: feet of a further stage.

    The line holds the joints under the plane; the layout says how much higher the others lie.
    """
    if panel.role is not Role.PLANE:
        return {}
    base = Curve(a=layout.at(panel.joints[0]), b=layout.at(panel.joints[-1]))
    heights = {j: float((layout.at(j) - base.a) @ base.normal) for j in panel.joints[1:-1]}
    return {j: h * hinge.normal for j, h in heights.items() if abs(h) > LEAST_LIFT_MM}


def _lock_cov(plane: MeasuringPlane, role: Role, fit: Fit) -> Array:
    """Covariance of a line's (d0, d1, bow) beyond its stations' scatter.

    What scatter cannot show: a stretch where one of the two steps is missing pulls the line a little toward a
    neighbouring edge; the more so, the fewer stations agree and the more they scatter. Size found on
    path-traced photographs of known dummies (tests/benchmarks).
    """
    scale = plane.view.px_per_mm(plane.eye_mm[:2], plane.z_mm)
    unused = 1.0 - fit.n_used / fit.n_stations
    sd = max(LOCK_SD_MM, LOCK_SD_PX / scale) * (1.0 + 3.0 * unused) + max(fit.rms_mm - 0.03, 0.0)
    if role is Role.PAGE:
        return np.diag([sd**2, sd**2, 0.0])
    return np.diag([sd**2, sd**2, 0.01**2])


def _free_ends(scene: Scene, finding: Finding) -> list[FreeEnd]:
    plane, layout = scene.plane, scene.layout
    out: list[FreeEnd] = []
    for panel in layout.panels:
        # A page's fore edge is usually hidden by the sheet or out of the picture; it is not looked for.
        if not panel.free_end or panel.role is Role.PAGE or panel.name not in finding.fits:
            continue
        curve = finding.fits[panel.name].curve
        nominal = layout.length(panel.joints[0], panel.joints[-1])
        scale = plane.view.px_per_mm(curve.b, plane.z_mm)
        overhang = (layout.length(panel.joints[0], panel.joints[-2]), nominal)
        curve = _beyond_the_leg(scene, panel, curve, overhang)
        template = scene.edges.template(
            card_mm=layout.card_mm, blur_mm=scene.blur_px / scale, depth_mm=layout.depth_mm, tone=scene.tone
        )
        near_ends, far_ends = _crossing_places(scene, finding, panel)
        ending = find_ending(
            scene.edges,
            curve,
            nominal,
            template,
            joint_mm=layout.length(panel.joints[0], panel.joints[-2]),
            near_ends_mm=near_ends,
            far_ends_mm=far_ends,
        )
        if ending is not None:
            hinge = finding.hinges[panel.name]
            along = ending.along_mm + float((curve.a - hinge.a) @ hinge.tangent)
            out.append(
                FreeEnd(joint=panel.joints[-1], panel=panel.name, along_mm=along, err_mm=ending.err_mm)
            )
    return out


def _beyond_the_leg(scene: Scene, panel: Panel, curve: Curve, overhang_mm: tuple[float, float]) -> Curve:
    """Return the line of a panel's near end moved to the layer seen on the stretch before its free end.

    A ribbon or a tab under the plane may end at the leg, so that from there on the card lies a layer higher.
    """
    first, last = overhang_mm[0] + 1.0, overhang_mm[1] - 1.0
    if last - first < LEAST_OVERHANG_MM:
        return curve
    s = np.arange(first, last, 0.4) / curve.length
    evidence = scene.edges.scan(
        curve,
        s,
        reach_mm=1.5 * scene.layout.card_mm,
        step_mm=0.05,
        template=scene.template(curve, panel),
    )
    total = softened(evidence.score).sum(axis=0)
    best = int(np.argmax(total))
    at = int(np.argmin(np.abs(evidence.offsets_mm)))
    if total[best] < LAYER_GAIN * max(float(total[at]), 1.0):
        return curve
    d = float(evidence.offsets_mm[best])
    return replace(curve, d0=curve.d0 + d, d1=curve.d1 + d)


def _crossing_places(scene: Scene, finding: Finding, panel: Panel) -> tuple[list[float], list[float]]:
    """Where near ends, and far ends, of panels standing at this one cross its line, mm from its start."""
    curve = finding.fits[panel.name].curve
    out: tuple[list[float], list[float]] = ([], [])
    for other in scene.layout.panels:
        if other.role is not Role.LEG or other.name not in finding.fits:
            continue
        if not set(other.joints) & set(panel.joints):
            continue
        near = finding.fits[other.name].curve
        far = scene.plane.far_of(np.stack([near.a, near.b]), scene.layout.depth_mm)
        for line, places in zip((near, Curve(a=far[0], b=far[1])), out, strict=True):
            at = crossing(curve, line)
            if np.all(np.isfinite(at)):
                places.append(float((at - curve.a) @ curve.tangent))
    return out


def _panel_fit(layout: Layout, name: str, finding: Finding, joints: JointSet) -> PanelFit:
    if name not in finding.fits:
        return PanelFit(
            name=name,
            found=False,
            reason=finding.missing.get(name, WhyUnseen(kind=Unseen.NOT_FOUND)),
            line_mm=np.zeros((0, 2)),
            angle_rad=float("nan"),
            sagitta_mm=float("nan"),
            rms_mm=float("nan"),
            n_used=0,
            n_stations=0,
        )
    fit = finding.fits[name]
    t = fit.curve.tangent
    return PanelFit(
        name=name,
        found=True,
        reason=None,
        line_mm=fit.curve.points(np.linspace(0, 1, 13)),
        angle_rad=float(np.arctan2(t[1], t[0])),
        sagitta_mm=fit.curve.bow,
        rms_mm=fit.rms_mm,
        n_used=fit.n_used,
        n_stations=fit.n_stations,
    )
