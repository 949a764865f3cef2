"""The ways of seeing near ends, by name; the one place where it is chosen which of them is used."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from measure.edges.cut_edges import CutEdges
from measure.edges.edge_evidence import EdgeEvidence
from measure.measuring_plane import MeasuringPlane

DETECTORS: Final[Mapping[str, Callable[[MeasuringPlane], EdgeEvidence]]] = MappingProxyType(
    {"cut edges": CutEdges}
)
"""Name -> what looks at a photo's plane in that way."""

USUAL: Final = "cut edges"


def edges_of(plane: MeasuringPlane, kind: str = USUAL) -> EdgeEvidence:
    """Return that way of seeing near ends, looking at a photo's plane.

    Raises
    ------
    KeyError : no such way.
    """
    return DETECTORS[kind](plane)
