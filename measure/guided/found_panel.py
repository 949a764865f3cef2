"""A panel as found in a photo."""

from dataclasses import dataclass, field

import numpy as np

from capture.arrays import Array
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
    open_cov : (3, 3) covariance of its ends and bow that other readings of the photo leave open, mm^2.
    """

    fit: Fit
    hinge: Curve
    layer_sd_mm: float
    open_cov: Array = field(default_factory=lambda: np.zeros((3, 3)))
