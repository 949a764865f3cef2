"""From the panels found in a photo to a profile: joints, covariance by source, a fit for every panel."""

from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from measure.edges.line_fit import Fit
from measure.geometry import Curve
from measure.guided.find_panels import Finding
from measure.guided.free_ends import free_ends
from measure.joints.joint_location import PanelLine, locate_joints
from measure.joints.shared_errors import shared_covs
from measure.layout import Layout, Panel, Role
from measure.measuring_plane import MeasuringPlane
from measure.profile import PanelFit, Profile
from measure.reasons import Note, Noted
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingErrors:
    """Tuned numbers of what is uncertain about lines, found on path-traced photographs of known dummies."""

    weight_sd_mm: float = 0.05
    """Weight of a line where more than two panels meet, ..."""
    plane_weight_sd_mm: float = 0.08
    """... and of a plane's."""
    lock_sd_mm: float = 0.06
    """Standard uncertainty of a line's ends beyond its stations' scatter, ..."""
    lock_sd_px: float = 0.4
    """... or so many pixels, ..."""
    unused_gain: float = 3.0
    """... larger by so many times the share of stations not used, ..."""
    clean_rms_mm: float = 0.03
    """... and by what they scatter more than this."""
    bow_sd_mm: float = 0.01
    """The same of a bow; a page has none."""
    least_lift_mm: float = 0.1
    """Joints off a plane's line by design by more than this lie on its other side."""


TUNED = FindingErrors()


def profile_of(scene: Scene, finding: Finding, view: View, standoff_err_mm: float) -> Profile:
    """Return the profile of what was found in a scene, its joints located with their covariance.

    Parameters
    ----------
    scene : with the layout and the tone of what was found.
    view, standoff_err_mm : the solved view, and the standard uncertainty of the standoff.
    """
    plane, layout, found = scene.plane, scene.layout, finding.panels
    lines = [
        PanelLine(
            name=panel.name,
            role=panel.role,
            joints=panel.joints,
            curve=found[panel.name].hinge,
            fit_cov=found[panel.name].fit.cov
            + _lock_cov(plane, panel.role, found[panel.name].fit)
            + found[panel.name].open_cov,
            layer_sd_mm=found[panel.name].layer_sd_mm,
            weight_sd_mm=TUNED.plane_weight_sd_mm if panel.role is Role.PLANE else TUNED.weight_sd_mm,
            joint_shift=finding.joint_shift
            if panel.role is Role.PAGE
            else _standing_on(layout, panel, found[panel.name].hinge),
        )
        for panel in layout.panels
        if panel.name in found
    ]
    ends = free_ends(scene, found)
    joints = locate_joints(
        layout,
        lines,
        ends,
        eye_mm=plane.eye_mm,
        standoff_mm=plane.z_mm,
        near_end_sd_mm=layout.near_end_sd_mm,
        level_shifts=finding.level_shifts,
    )
    sources = dict(joints.cov_by_source)
    sources |= shared_covs(view, joints.xy_mm, plane.z_mm, standoff_err_mm)
    return Profile(
        joints=joints.names,
        xy_mm=joints.xy_mm,
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        extra_arc_mm={
            name: 8 * panel.fit.curve.bow**2 / (3 * panel.fit.curve.length) for name, panel in found.items()
        },
        panels=tuple(_panel_fit(p.name, finding) for p in layout.panels),
        undetermined=joints.undetermined,
        standoff_mm=plane.z_mm,
        notes=(Note(kind=Noted.PAGE_FAINT, names=finding.faint),) if finding.faint else (),
        near_ends=joints.panels,
        near_end_gain=joints.near_end_gain,
        near_end_sd_mm=layout.near_end_sd_mm,
    )


def _standing_on(layout: Layout, panel: Panel, hinge: Curve) -> dict[str, Array]:
    """Displacement (2,) from a plane's line to joints that lie on its other side: feet of a further stage.

    The line holds the joints under the plane; the layout says how much higher the others lie.
    """
    if panel.role is not Role.PLANE:
        return {}
    base = Curve(a=layout.at(panel.joints[0]), b=layout.at(panel.joints[-1]))
    heights = {j: float((layout.at(j) - base.a) @ base.normal) for j in panel.joints[1:-1]}
    return {j: h * hinge.normal for j, h in heights.items() if abs(h) > TUNED.least_lift_mm}


def _lock_cov(plane: MeasuringPlane, role: Role, fit: Fit) -> Array:
    """Covariance of a line's (d0, d1, bow) beyond its stations' scatter.

    What scatter cannot show: a stretch where one of the two steps is missing pulls the line a little toward a
    neighbouring edge; the more so, the fewer stations agree and the more they scatter.
    """
    scale = plane.view.px_per_mm(plane.eye_mm[:2], plane.z_mm)
    unused = 1.0 - fit.n_used / fit.n_stations
    sd = max(TUNED.lock_sd_mm, TUNED.lock_sd_px / scale) * (1.0 + TUNED.unused_gain * unused)
    sd += max(fit.rms_mm - TUNED.clean_rms_mm, 0.0)
    if role is Role.PAGE:
        return np.diag([sd**2, sd**2, 0.0])
    return np.diag([sd**2, sd**2, TUNED.bow_sd_mm**2])


def _panel_fit(name: str, finding: Finding) -> PanelFit:
    if name not in finding.panels:
        return PanelFit.unseen(name, finding.missing.get(name))
    fit = finding.panels[name].fit
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
