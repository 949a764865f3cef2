"""What marks say of the page: its line and its spine, known before anything is looked for.

A sill or a doorstep that lies on the page says so, or an apron that hangs from it
(`measure.guided.page.apron_marks`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.layout import Layout
from measure.part_names import part_name

SPINE_MARK = "spine mark"
"""Source of uncertainty: where a mark puts the spine."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageMarks:
    """The pages' surfaces and the spine on them, in the measuring plane, sheet mm.

    Attributes
    ----------
    pages : page panel ("page left") -> (2, 2) its surface at the spine and farther out.
    spine : (2,) the spine at that surface; spine_cov : (2, 2).
    upper : True where `pages` are the pages' upper surfaces (a sill lies on them), False for the lower ones
        (an apron hangs from them).
    heights_cov : page -> (2, 2) covariance of its two heights, mm^2; {} where its own edge is looked for.
    has_tick : False where nothing was printed to be set on the spine, so that it is only likely there.
    """

    pages: Mapping[str, Array]
    spine: Array
    spine_cov: Array
    upper: bool = False
    heights_cov: Mapping[str, Array] = field(default_factory=dict)
    has_tick: bool = True

    def direction(self, page: str) -> Array:
        """Return the unit vector (2,) along a page, outward."""
        a, b = self.pages[page]
        out: Array = (b - a) / np.hypot(*(b - a))
        return out

    def up(self, page: str) -> Array:
        """Return the unit vector (2,) from a page toward the inside of the spread."""
        t = self.direction(page)
        return np.array([-t[1], t[0]]) if page == part_name("page", "right") else np.array([t[1], -t[0]])


def joint_height(marks: PageMarks, layout: Layout) -> float:
    """Height of the joints on a page above the surface that is marked, mm."""
    return layout.card_mm / 2 + (0.0 if marks.upper else layout.base_mm)


def seeds_of(marks: PageMarks, layout: Layout) -> dict[str, Array]:
    """Joints (2,) that the marks place: the spine, and each fore edge as far out as the design has it."""
    out: dict[str, Array] = {}
    ups = np.mean([marks.up(page) for page in marks.pages], axis=0)
    out["spine"] = marks.spine + joint_height(marks, layout) * ups
    for panel in layout.panels:
        if panel.name in marks.pages and panel.joints[0] == "spine":
            reach = layout.length("spine", panel.joints[-1])
            out[panel.joints[-1]] = out["spine"] + reach * marks.direction(panel.name)
    return out


def marked_line(marks: PageMarks, layout: Layout, page: str) -> Curve | None:
    """Line of the joints on a page, from the spine outward; None if the marks do not show that page."""
    if page not in marks.pages:
        return None
    a, b = marks.pages[page] + joint_height(marks, layout) * marks.up(page)
    return Curve(a=a, b=b)
