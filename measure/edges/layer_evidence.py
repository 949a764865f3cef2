"""Layers of card lying on each other, seen end-on: steps one thickness apart, fitted together."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.edge_evidence import LayerSteps, Template
from measure.edges.stations import STATION_MM, stations_for
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane, strip_along


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    step_mm: float = 0.05
    """Sampling of the profile."""
    room_mm: float = 0.6
    """The profile reaches so far beyond three thicknesses to either side."""
    least_noise: float = 0.002
    """Full scale = 1: no averaged profile is known better."""
    blurs: tuple[float, ...] = (1.0, 1.4, 2.0)
    """The photo's blur is tried times each of these: edges of a long stretch are not quite in line."""
    moves_mm: tuple[float, ...] = (-0.06, -0.03, 0.0, 0.03, 0.06)
    """The fitted line may be off by so much."""


TUNED = LayerNumbers()


def layer_steps(
    plane: MeasuringPlane,
    curve: Curve,
    stretch_mm: tuple[float, float],
    places: Array,
    template: Template,
    up: float,
) -> LayerSteps:
    """Fit steps at places together; see `measure.edges.edge_evidence.EdgeEvidence.layers`.

    The mean profile of the stretch is explained by a smooth background and the steps.
    """
    s = stations_for(curve, stretch_mm[0], curve.length - stretch_mm[1])
    h, t = TUNED.step_mm, template.card_mm
    n = int(np.ceil((3 * t + TUNED.room_mm) / h))
    x = np.linspace(-n * h, n * h, 2 * n + 1)  # up is +
    profile = strip_along(plane, curve, s, up * x, STATION_MM, 3).astype(np.float64).mean(axis=0)
    best: tuple[float, Array, Array] | None = None
    for blur in template.blur_mm * np.array(TUNED.blurs):
        for move in TUNED.moves_mm:
            steps = ndtr((x[:, None] - move - places[None, :] * t) / blur)
            basis = np.column_stack([np.ones_like(x), x, x**2, steps])
            coef, _, _, _ = np.linalg.lstsq(basis, profile, rcond=None)
            misfit = float(np.sum((profile - basis @ coef) ** 2))
            if best is None or misfit < best[0]:
                spread = np.diag(np.linalg.pinv(basis.T @ basis))[3:]
                variance = max(misfit / (len(x) - basis.shape[1]), TUNED.least_noise**2)
                best = (misfit, coef[3:], np.sqrt(spread * variance))
    assert best is not None
    centres = (places + 0.5) * t
    near = np.abs(x[None, :] - centres[:, None]) <= max(0.25 * t, h)
    above = np.array([profile[row].mean() for row in near])
    return LayerSteps(height=best[1], err=best[2], above=above)
