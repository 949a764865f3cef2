"""The cut edges of a layout's panels, each looked for at the layer of card that is seen before it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from measure.edges.edge_evidence import softened
from measure.edges.free_end import find_ending
from measure.geometry import Curve, crossing
from measure.guided.found_panel import FoundPanel
from measure.joints.joint_location import FreeEnd
from measure.layout import Panel, Role
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class OverhangNumbers:
    """Tuned numbers of the layer before a free end, found on path-traced photographs of known dummies."""

    clear_mm: float = 1.0
    """So much beside the leg and before the end is not looked at."""
    least_overhang_mm: float = 1.5
    """A shorter stretch tells nothing."""
    station_mm: float = 0.4
    """It is looked at every so many mm, ..."""
    step_mm: float = 0.05
    """... in such steps across, ..."""
    layers: float = 1.5
    """... so many thicknesses up and down."""
    layer_gain: float = 1.1
    """Another layer must bring so many times the evidence, ..."""
    least: float = 1.0
    """... and so many times this at least (log-likelihood units)."""


TUNED = OverhangNumbers()


def free_ends(scene: Scene, found: Mapping[str, FoundPanel]) -> list[FreeEnd]:
    """Find the cut edges of all panels that have one and were found; pages' fore edges are not looked for.

    Those are usually hidden by the sheet or out of the picture.
    """
    plane, layout = scene.plane, scene.layout
    out: list[FreeEnd] = []
    for panel in layout.panels:
        if not panel.free_end or panel.role is Role.PAGE or panel.name not in found:
            continue
        curve = found[panel.name].fit.curve
        nominal = layout.length(panel.joints[0], panel.joints[-1])
        scale = plane.view.px_per_mm(curve.b, plane.z_mm)
        overhang = (layout.length(panel.joints[0], panel.joints[-2]), nominal)
        curve = _beyond_the_leg(scene, panel, curve, overhang)
        template = scene.edges.template(
            card_mm=layout.card_mm, blur_mm=scene.blur_px / scale, depth_mm=layout.depth_mm, tone=scene.tone
        )
        near_ends, far_ends = _crossing_places(scene, found, panel)
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
            hinge = found[panel.name].hinge
            along = ending.along_mm + float((curve.a - hinge.a) @ hinge.tangent)
            out.append(
                FreeEnd(joint=panel.joints[-1], panel=panel.name, along_mm=along, err_mm=ending.err_mm)
            )
    return out


def _beyond_the_leg(scene: Scene, panel: Panel, curve: Curve, overhang_mm: tuple[float, float]) -> Curve:
    """Return the line of a panel's near end moved to the layer seen on the stretch before its free end.

    A ribbon or a tab under the plane may end at the leg, so that from there on the card lies a layer higher.
    """
    first, last = overhang_mm[0] + TUNED.clear_mm, overhang_mm[1] - TUNED.clear_mm
    if last - first < TUNED.least_overhang_mm:
        return curve
    s = np.arange(first, last, TUNED.station_mm) / curve.length
    evidence = scene.edges.scan(
        curve,
        s,
        reach_mm=TUNED.layers * scene.layout.card_mm,
        step_mm=TUNED.step_mm,
        template=scene.template(curve, panel),
    )
    total = softened(evidence.score).sum(axis=0)
    best = int(np.argmax(total))
    at = int(np.argmin(np.abs(evidence.offsets_mm)))
    if total[best] < TUNED.layer_gain * max(float(total[at]), TUNED.least):
        return curve
    d = float(evidence.offsets_mm[best])
    return replace(curve, d0=curve.d0 + d, d1=curve.d1 + d)


def _crossing_places(
    scene: Scene, found: Mapping[str, FoundPanel], panel: Panel
) -> tuple[list[float], list[float]]:
    """Where near ends, and far ends, of panels standing at this one cross its line, mm from its start."""
    curve = found[panel.name].fit.curve
    out: tuple[list[float], list[float]] = ([], [])
    for other in scene.layout.panels:
        if other.role is not Role.LEG or other.name not in found:
            continue
        if not set(other.joints) & set(panel.joints):
            continue
        near = found[other.name].fit.curve
        far = scene.plane.far_of(np.stack([near.a, near.b]), scene.layout.depth_mm)
        for line, places in zip((near, Curve(a=far[0], b=far[1])), out, strict=True):
            at = crossing(curve, line)
            if np.all(np.isfinite(at)):
                places.append(float((at - curve.a) @ curve.tangent))
    return out
