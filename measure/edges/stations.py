"""Places along a curve at which near ends are looked at, and from which side they are seen."""

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane

STATION_MM = 0.8
"""Stations lie so far apart, mm, and as much is averaged over; found on path-traced photographs."""


def stations_for(curve: Curve, trim0_mm: float, trim1_mm: float, every_mm: float = STATION_MM) -> Array:
    """Stations (S,) every so many mm, leaving out that much at the two ends."""
    usable = curve.length - trim0_mm - trim1_mm
    n = max(4, int(usable / every_mm))
    return (trim0_mm + (np.arange(n) + 0.5) * usable / n) / curve.length


def outer_sign(plane: MeasuringPlane, curve: Curve) -> float:
    """+1 if the background side (away from the eye) is to the left of the curve, else -1."""
    middle = curve.points(np.array([0.5]))[0]
    return 1.0 if float((middle - plane.eye_mm[:2]) @ curve.normal) >= 0 else -1.0
