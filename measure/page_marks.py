"""What marks say of the page: its line and its spine, known before anything is looked for.

Today an apron says so (`measure.guided.page.apron_marks`); whatever else lies or hangs at the page and shows
its plane and spine says it in the same form.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.layout import Layout
from measure.part_names import part_name

SPINE_MARK = "spine mark"
"""Source of uncertainty: where a mark puts the spine."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageMarks:
    """The pages' lower surfaces and the spine on them, in the measuring plane, sheet mm.

    Attributes
    ----------
    pages : page panel ("page left") -> (2, 2) its LOWER surface at the spine and farther out.
    spine : (2,) the spine at that surface; spine_cov : (2, 2).
    """

    pages: Mapping[str, Array]
    spine: Array
    spine_cov: Array

    def direction(self, page: str) -> Array:
        """Return the unit vector (2,) along a page, outward."""
        a, b = self.pages[page]
        out: Array = (b - a) / np.hypot(*(b - a))
        return out

    def up(self, page: str) -> Array:
        """Return the unit vector (2,) from a page toward the inside of the spread."""
        t = self.direction(page)
        return np.array([-t[1], t[0]]) if page == part_name("page", "right") else np.array([t[1], -t[0]])


def joint_height(layout: Layout) -> float:
    """Height of the joints on a page above its lower surface, mm."""
    return layout.base_mm + layout.card_mm / 2


def seeds_of(marks: PageMarks, layout: Layout) -> dict[str, Array]:
    """Joints (2,) that the marks place: the spine, and each fore edge as far out as the design has it."""
    out: dict[str, Array] = {}
    ups = np.mean([marks.up(page) for page in marks.pages], axis=0)
    out["spine"] = marks.spine + joint_height(layout) * ups
    for panel in layout.panels:
        if panel.name in marks.pages and panel.joints[0] == "spine":
            reach = layout.length("spine", panel.joints[-1])
            out[panel.joints[-1]] = out["spine"] + reach * marks.direction(panel.name)
    return out


def marked_line(marks: PageMarks, layout: Layout, page: str) -> Curve | None:
    """Line of the joints on a page, from the spine outward; None if the marks do not show that page."""
    if page not in marks.pages:
        return None
    a, b = marks.pages[page] + joint_height(layout) * marks.up(page)
    return Curve(a=a, b=b)
