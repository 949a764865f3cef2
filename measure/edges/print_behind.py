"""Steps across a line that fall on a step of the sheet's print, as seen past that line, are no card's."""

from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from capture.camera.view import PARAMS
from measure.edges.edge_evidence import Evidence, Template, capped
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies before the uncut sheet."""

    step: float = 0.35
    """Of black against white: a smaller step of the print explains nothing; twice as much explains
    most."""
    explained: float = 0.7
    """So much of a step's evidence is explained away by a full step of the print."""


TUNED = PrintNumbers()


def on_sheet(plane: MeasuringPlane, xy_mm: Array) -> Array:
    """Return the points (..., 2) of the sheet, nominal mm, that are seen behind points of the plane."""
    eye = plane.eye_mm
    beyond = eye[2] / (eye[2] - plane.z_mm)
    printed = np.exp(plane.view.params[[PARAMS.index("log_sx"), PARAMS.index("log_sy")]])
    out: Array = (eye[:2] + (xy_mm - eye[:2]) * beyond) / printed
    return out


def without_print(
    evidence: Evidence,
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    template: Template,
    outer_sign: float,
) -> Evidence:
    """Return the evidence with steps counting little where the print behind has one.

    Parameters
    ----------
    evidence : of stations (S,) along the curve, at K offsets across it.
    plane, curve, stations, template : what the evidence was taken from; the plane has the sheet behind it.
    outer_sign : +1 if the background side is to the left of the curve.
    """
    assert plane.behind is not None
    kept = []
    for side in (outer_sign, -outer_sign):
        across = evidence.offsets_mm + side * template.card_mm / 2
        near = curve.points(stations)[:, None, :] + across[None, :, None] * curve.normal
        step = plane.behind.step_at(on_sheet(plane, near), curve.normal)
        kept.append(1.0 - TUNED.explained * np.clip(step / TUNED.step - 1.0, 0.0, 1.0))
    outer, inner = evidence.outer * kept[0], evidence.inner * kept[1]
    return replace(evidence, score=capped(outer, inner, template.cap), outer=outer, inner=inner)
