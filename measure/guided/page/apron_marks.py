"""Page lines and spine where an apron marks them: the base's near edge needs no guessing then."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from measure.edges.straightened import Curve
from measure.joints.added_joints import with_joints
from measure.layout import Layout
from measure.part_names import part_name
from measure.profile import Profile

SPINE_MARK = "spine mark"
MARK_REACH_MM = 0.45  # the page's own edge is looked for this far from the mark: four sd of its mounting


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Marks:
    """What an apron says, in the measuring plane, sheet mm.

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


def marks_of(view: View, z_mm: float) -> Marks | None:
    """Return what the apron of this view says in the plane z = z_mm; None without an apron."""
    apron = view.apron
    if apron is None:
        return None
    return Marks(
        pages={part_name("page", e.side): view.to_plane(view.project(e.ends_mm), z_mm) for e in apron.edges},
        spine=view.to_plane(view.project(apron.spine_mm[None]), z_mm)[0],
        spine_cov=apron.spine_cov[:2, :2],
    )


def joint_height(layout: Layout) -> float:
    """Height of the joints on a page above its lower surface, mm."""
    return layout.base_mm + layout.card_mm / 2


def seeds_of(marks: Marks, layout: Layout) -> dict[str, Array]:
    """Joints (2,) that the marks place: the spine, and each fore edge as far out as the design has it."""
    out: dict[str, Array] = {}
    ups = np.mean([marks.up(page) for page in marks.pages], axis=0)
    out["spine"] = marks.spine + joint_height(layout) * ups
    for panel in layout.panels:
        if panel.name in marks.pages and panel.joints[0] == "spine":
            reach = layout.length("spine", panel.joints[-1])
            out[panel.joints[-1]] = out["spine"] + reach * marks.direction(panel.name)
    return out


def marked_line(marks: Marks, layout: Layout, page: str) -> Curve | None:
    """Line of the joints on a page, from the spine outward; None if the marks do not show that page."""
    if page not in marks.pages:
        return None
    a, b = marks.pages[page] + joint_height(layout) * marks.up(page)
    return Curve(a=a, b=b)


def with_spine(profile: Profile, marks: Marks, layout: Layout, view: View, standoff_err_mm: float) -> Profile:
    """Return the profile with the spine where the apron's tick is, unless two pages cross there.

    Where the pages are found, their own line decides the height: the mark only says where along it.
    """
    if "spine" in profile.joints or not marks.pages:
        return profile
    at = {"spine": seeds_of(marks, layout)["spine"]}
    return with_joints(profile, at, {SPINE_MARK: {"spine": marks.spine_cov}}, view, standoff_err_mm)
