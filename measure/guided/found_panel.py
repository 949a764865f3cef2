"""A panel as found in a photo."""

from dataclasses import dataclass

from measure.edges.line_fit import Fit
from measure.geometry import Curve


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FoundPanel:
    """One panel's near end.

    Attributes
    ----------
    fit : fit of its middle line.
    hinge : the line its joints lie on.
    layer_sd_mm : what its layers leave uncertain about the place of its joints.
    """

    fit: Fit
    hinge: Curve
    layer_sd_mm: float
