"""One photo as its finders see it: where to look, what to expect, how blurred and how bright it is."""

from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.edges.edge_evidence import EdgeEvidence, Template
from measure.geometry import Curve
from measure.layout import Layout, Panel, Role
from measure.measuring_plane import MeasuringPlane
from measure.page_marks import PageMarks
from measure.region import Region

LEAST_BLUR_MM = 0.05
"""Card is not cut sharper, mm; found on path-traced photographs of known dummies."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scene:
    """What a finder needs of one photo.

    Attributes
    ----------
    edges : how near ends are seen in it; it holds the measuring plane (grey values, view, print behind).
    layout : what is expected, at the opening at which it is looked for, and the card.
    region : where in the plane the dummy may lie.
    blur_px : standard deviation of the photo's blur.
    tone : grey value of the cut edges, once it is known; full scale = 1, linear light.
    white : grey value of the sheet's white paper, which faces the camera as cut edges do; None if not seen.
    marks : where the pages and the spine are, if marks tell it.
    """

    edges: EdgeEvidence
    layout: Layout
    region: Region
    blur_px: float
    tone: float | None = None
    white: float | None = None
    marks: PageMarks | None = None

    @property
    def plane(self) -> MeasuringPlane:
        """The measuring plane."""
        return self.edges.plane

    def with_tone(self, tone: float | None) -> "Scene":
        """Return the scene with that tone of cut edges."""
        return replace(self, tone=tone)

    def with_layout(self, layout: Layout) -> "Scene":
        """Return the scene with something else to expect, such as the same dummy at another opening."""
        return replace(self, layout=layout)

    def template(self, curve: Curve, panel: Panel | None = None) -> Template:
        """Return what the near end of a panel looks like along a curve; of any strip, if none is given."""
        return self.template_at(curve.points(np.array([0.5]))[0], panel)

    def template_at(self, xy_mm: Array, panel: Panel | None = None) -> Template:
        """Return what it looks like at a place (2,) of the plane."""
        page = panel is not None and panel.role is Role.PAGE
        scale = self.plane.view.px_per_mm(xy_mm, self.plane.z_mm)
        return self.edges.template(
            card_mm=self.layout.base_mm if page else self.layout.card_mm,
            blur_mm=max(self.blur_px / scale, LEAST_BLUR_MM),
            depth_mm=self.layout.depth_mm,
            tone=self.tone,
        )
