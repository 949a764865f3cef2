"""Page lines and spine where an apron marks them: the base's near edge needs no guessing then."""

from capture.camera.view import View
from measure.joints.added_joints import with_joints
from measure.layout import Layout
from measure.page_marks import SPINE_MARK, PageMarks, seeds_of
from measure.part_names import part_name
from measure.profile import Profile


def marks_of(view: View, z_mm: float) -> PageMarks | None:
    """Return what the apron of this view says in the plane z = z_mm; None without an apron."""
    apron = view.apron
    if apron is None:
        return None
    return PageMarks(
        pages={part_name("page", e.side): view.to_plane(view.project(e.ends_mm), z_mm) for e in apron.edges},
        spine=view.to_plane(view.project(apron.spine_mm[None]), z_mm)[0],
        spine_cov=apron.spine_cov[:2, :2],
    )


def with_spine(
    profile: Profile, marks: PageMarks, layout: Layout, view: View, standoff_err_mm: float
) -> Profile:
    """Return the profile with the spine where the apron's tick is, unless two pages cross there.

    Where the pages are found, their own line decides the height: the mark only says where along it.
    """
    if "spine" in profile.joints or not marks.pages:
        return profile
    at = {"spine": seeds_of(marks, layout)["spine"]}
    return with_joints(profile, at, {SPINE_MARK: {"spine": marks.spine_cov}}, view, standoff_err_mm)
