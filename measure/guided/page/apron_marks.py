"""Page lines and spine where a sill or an apron marks them: the base's near edge needs no guessing then."""

import numpy as np

from capture.camera.known_page import KnownPage
from capture.camera.view import View
from measure.joints.added_joints import with_joints
from measure.layout import Layout
from measure.page_marks import SPINE_MARK, PageMarks, seeds_of
from measure.part_names import part_name
from measure.profile import Profile


def marks_of(view: View, z_mm: float) -> PageMarks | None:
    """Return what sill or apron of this view say in the plane z = z_mm; None without either."""
    if view.page is not None:
        return _marks_of_page(view.page, z_mm)
    apron = view.apron
    if apron is None:
        return None
    return PageMarks(
        pages={part_name("page", e.side): view.to_plane(view.project(e.ends_mm), z_mm) for e in apron.edges},
        spine=view.to_plane(view.project(apron.spine_mm[None]), z_mm)[0],
        spine_cov=apron.spine_cov[:2, :2],
    )


def _marks_of_page(page: KnownPage, z_mm: float) -> PageMarks:
    """Return the lines where the pages' surfaces meet the plane."""
    lines = {part_name("page", side.side): side.line_at(z_mm) for side in page.sides}
    sd = float(np.sqrt(np.mean([np.mean(np.diag(cov)) for _, cov in lines.values()])))
    return PageMarks(
        pages={name: line for name, (line, _) in lines.items()},
        spine=np.mean([line[0] for line, _ in lines.values()], axis=0),
        spine_cov=np.diag([page.spine_sd_mm**2, sd**2]),
        upper=True,
        heights_cov={name: cov for name, (_, cov) in lines.items()},
        has_tick=page.has_tick,
    )


def with_spine(
    profile: Profile, marks: PageMarks, layout: Layout, view: View, standoff_err_mm: float
) -> Profile:
    """Return the profile with the spine where the tick is, unless two pages cross there.

    Where the pages are found, their own line decides the height: the mark only says where along it.
    """
    if "spine" in profile.joints or not marks.pages or not marks.has_tick:
        return profile
    at = {"spine": seeds_of(marks, layout)["spine"]}
    return with_joints(profile, at, {SPINE_MARK: {"spine": marks.spine_cov}}, view, standoff_err_mm)
