"""The main job of this room: from a solved view and an expected layout to a measured profile."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.detectors import edges_of
from measure.guided.find_panels import find_layout
from measure.guided.page.apron_marks import marks_of, with_spine
from measure.guided.places_to_try import places_to_try
from measure.guided.profile_of_finding import profile_of
from measure.inked.ink_pages import pages_of_view
from measure.inked.inked_profile import inked_profile
from measure.joints.by_hand import HandPoint, places_mm, require_sound, with_hand_points
from measure.layout import Layout
from measure.measure_errors import MeasureError
from measure.measuring_plane import paper_white, plane_of
from measure.profile import Profile
from measure.region import search_region
from measure.scene import Scene
from measure.sheet_print import sheet_print


@dataclass(frozen=True, slots=True, kw_only=True)
class SenseNumbers:
    """What a measurement must make to be the dummy of this design; common practice, no source."""

    min_panels: int = 4
    """Panels and joints: two pages and two more make a shape."""
    far_off_mm: float = 2.5
    """No strip is cut wrong by more: a distance that is off by more is far off."""
    most_off: int = 3
    """Two faults put up to so many distances far off; more mean that something else was found."""


TUNED = SenseNumbers()


def measure_profile(
    photo: Photo,
    view: View,
    layout: Layout,
    sheet: MarkerSheet,
    *,
    arch: bool,
    bottom_closed: bool = False,
    standoff_mm: float = 0.0,
    standoff_err_mm: float = 0.5,
    blur_px: float = 0.9,
    hand: Sequence[HandPoint] = (),
    seeds: Mapping[str, Array] | None = None,
) -> Profile:
    """Find the panels of the layout in the photo and measure their near ends.

    Parameters
    ----------
    photo, view : the photo and its solved view.
    layout : what is expected.
    sheet : the marker sheet seen, for where to look.
    arch : True if the dummy shows through the cut window, False if the sheet stands behind it.
    bottom_closed : True if the sheet's lower band is in the picture (a window cut without opening it below).
    standoff_mm, standoff_err_mm : height of the near end above the sheet, and its standard uncertainty.
    blur_px : standard deviation of the photo's blur.
    seeds : places (2,) of joints, sheet mm, where the dummy is known to be; it is looked for nowhere else.
    hand : joints pointed at by hand: two or more say where the dummy is; each replaces what is measured.

    Raises
    ------
    MeasureError
        If a hand-set joint is unknown or outside the photo, or too few panels are seen to speak of a
        measurement.
    """
    region = search_region(view, sheet, standoff_mm, arch=arch, bottom_closed=bottom_closed)
    plane = plane_of(photo, view, standoff_mm, region, None if arch else sheet_print(sheet))
    require_sound(hand, layout.joint_names, photo.size)
    scene = Scene(
        edges=edges_of(plane),
        layout=layout,
        region=region,
        blur_px=blur_px,
        white=paper_white(photo, view, sheet),
        marks=marks_of(view, standoff_mm),
    )
    places = {**(seeds or {}), **places_mm(hand, view, standoff_mm)}
    placements = places_to_try(scene, places, only_there=bool(seeds))
    known = pages_of_view(view, layout)
    inked = inked_profile(scene, view, placements, known, offset_sd_mm=None if arch else standoff_err_mm)
    if inked is not None:
        measured, layout = inked
    else:
        finding = find_layout(scene, placements)
        layout = finding.layout
        measured = profile_of(
            scene.with_layout(layout).with_tone(finding.tone), finding, view, standoff_err_mm
        )
    if scene.marks is not None:
        measured = with_spine(measured, scene.marks, layout, view, standoff_err_mm)
    profile = with_hand_points(
        measured,
        hand,
        view,
        near_end_sd_mm=layout.near_end_sd_mm,
        standoff_err_mm=standoff_err_mm,
    )
    n_found = sum(p.found for p in profile.panels)
    if n_found + len(hand) < TUNED.min_panels or len(profile.joints) < TUNED.min_panels:
        raise MeasureError(
            f"{photo.name}: the dummy of this design is not seen ({n_found} of {len(profile.panels)} panels "
            "found); check that spec and photo belong together, and arch or backdrop"
        )
    off = far_off(profile, layout)
    if len(off) > TUNED.most_off:
        told = ", ".join(f"{a} to {b} {d:+.1f} mm" for (a, b), d in list(off.items())[:3])
        raise MeasureError(
            f"{photo.name}: what was found does not make the dummy of this design ({len(off)} distances far "
            f"off: {told} ...); give the spec that belongs to this dummy, or take the photo against a plain, "
            "darker background"
        )
    return profile


def far_off(profile: Profile, layout: Layout) -> dict[tuple[str, str], float]:
    """Distances between neighbouring joints that are off nominal by more than any strip is cut wrong, mm."""
    out: dict[tuple[str, str], float] = {}
    for panel in layout.panels:
        for a, b in zip(panel.joints[:-1], panel.joints[1:], strict=True):
            if a in profile.joints and b in profile.joints:
                off = float(np.hypot(*(profile.at(b) - profile.at(a)))) - layout.length(a, b)
                if abs(off) > TUNED.far_off_mm:
                    out[a, b] = off
    return out
