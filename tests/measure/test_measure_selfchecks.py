"""What keeps a wrong edge from being told as a right one: far-off distances, apron marks, the card's tone."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import Template
from measure.edges.free_end import find_ending
from measure.edges.line_fit import Fit
from measure.edges.stations import outer_sign
from measure.geometry import Curve
from measure.guided.found_panel import FoundPanel
from measure.guided.measure_profile import far_off
from measure.guided.plane_halves import astray
from measure.layout import Layout
from measure.measuring_plane import MeasuringPlane
from measure.page_marks import PageMarks, joint_height, marked_line, seeds_of
from measure.profile import Profile
from tests.helpers.drawn_dummy import BASE, CARD, at_opening, dummy_layout
from tests.helpers.drawn_scene import BLUR_PX, close_camera, near_end_picture, pixel_mm, plane_of
from tests.measure.test_measure_refine import LENGTH, PX_PER_MM, true_curve

DARK = 0.1
OF = Template(card_mm=CARD, blur_mm=BLUR_PX / PX_PER_MM, depth_mm=60.0)


def profile_at(layout: Layout, **moved: tuple[float, float]) -> Profile:
    """A profile with the layout's joints, some of them moved."""
    names = layout.joint_names
    xy = np.array([layout.at(j) + np.array(moved.get(j.replace(" ", "_"), (0.0, 0.0))) for j in names])
    none = np.zeros((2 * len(names), 2 * len(names)))
    return Profile(
        joints=names,
        xy_mm=xy,
        cov_mm2=none,
        cov_by_source={"edge fits": none},
        extra_arc_mm={},
        panels=(),
        undetermined={},
        standoff_mm=0.0,
    )


def test_one_wrong_strip_is_a_fault_and_four_wrong_distances_are_another_thing() -> None:
    layout = dummy_layout()
    assert far_off(profile_at(layout), layout) == {}
    leg = far_off(profile_at(layout, outer_foot_right=(3.0, 0.0)), layout)
    assert leg == {
        ("inner foot right", "outer foot right"): pytest.approx(3.0),
        ("outer foot right", "fore edge right"): pytest.approx(-3.0),
    }
    # the page line taken 7 mm too low: every strip that stands on it seems too long
    low = {j.replace(" ", "_"): (0.0, -7.0) for j in layout.joint_names if "foot" in j}
    assert len(far_off(profile_at(layout, **low), layout)) >= 4


@pytest.mark.parametrize("opening_deg", [180.0, 120.0])
def test_apron_marks_place_the_joints_above_the_pages_lower_surface(opening_deg: float) -> None:
    layout = dummy_layout(opening_deg)
    at = {k: np.array(v) for k, v in at_opening(opening_deg).items()}
    height = BASE + CARD / 2
    pages = {}
    for side, turn in (("right", 1.0), ("left", -1.0)):
        along = at[f"fore edge {side}"] / np.hypot(*at[f"fore edge {side}"])
        up = turn * np.array([-along[1], along[0]])
        pages[f"page {side}"] = np.array([-height * up, 80.0 * along - height * up])
    mean_up = np.array([0.0, 1.0])
    marks = PageMarks(pages=pages, spine=-height * mean_up, spine_cov=np.eye(2) * 0.04)
    assert joint_height(marks, layout) == pytest.approx(height)
    assert joint_height(replace(marks, upper=True), layout) == pytest.approx(CARD / 2)
    seeds = seeds_of(marks, layout)
    assert seeds["spine"] == pytest.approx(
        [0.0, height * (np.cos(np.radians(90 - opening_deg / 2)) - 1)], abs=0.1
    )
    for side in ("left", "right"):
        line = marked_line(marks, layout, f"page {side}")
        assert line is not None
        for joint in (f"inner foot {side}", f"outer foot {side}"):
            assert float((at[joint] - line.a) @ line.normal) == pytest.approx(0.0, abs=1e-9)
        assert seeds[f"fore edge {side}"] == pytest.approx(at[f"fore edge {side}"], abs=0.1)
    assert marked_line(replace(marks, pages={}), layout, "page left") is None


def found(hinges: dict[str, Curve]) -> dict[str, FoundPanel]:
    """Panels whose joints lie on these lines, well fitted."""
    return {
        name: FoundPanel(
            fit=Fit(curve=c, cov=np.eye(3) * 1e-4, rms_mm=0.03, n_used=40, n_stations=40, mean_score=30.0),
            hinge=c,
            layer_sd_mm=0.03,
        )
        for name, c in hinges.items()
    }


def test_a_plane_that_passes_by_the_ridge_is_some_other_edge() -> None:
    layout = dummy_layout()
    hinges = {p.name: Curve(a=layout.at(p.joints[0]), b=layout.at(p.joints[-1])) for p in layout.panels}
    assert astray(layout, found(hinges)) == {}
    low = hinges["plane left"]
    for down, doubted in ((-1.0, False), (-7.0, True), (7.0, True)):
        moved = {**hinges, "plane left": replace(low, d0=down, d1=down).straightened()}
        assert ("plane left" in astray(layout, found(moved))) == doubted
        assert "plane right" not in astray(layout, found(moved))
    # with one fold only, nothing says where the ridge is
    assert astray(layout, found({k: c for k, c in moved.items() if k != "fold right"})) == {}


def ending_scene(
    noise: float = 0.004, seed: int = 2, short_mm: float | None = None
) -> tuple[MeasuringPlane, Curve]:
    """A bright card that ends 40 mm along its line before a dark ground, seen from above.

    With `short_mm` its cut edge stops that much earlier, while what it lies on shows its face on to the end.
    """
    view = close_camera(PX_PER_MM, size=(900, 300))
    curve = true_curve(0.0)
    levels = (0.5, 0.45, DARK)
    blank = plane_of(view, np.zeros((4, 4), np.float32))
    lit = levels if outer_sign(blank, curve) > 0 else levels[::-1]
    mm, _ = pixel_mm(view)
    long = Curve(a=curve.a - 40 * curve.tangent, b=curve.b + 40 * curve.tangent)
    picture = near_end_picture(view, long, lit, card_mm=CARD).astype(float)
    if short_mm is not None:
        faced = near_end_picture(view, long, tuple(0.55 if g == 0.45 else g for g in lit), card_mm=CARD)
        stops = curve.b - short_mm * curve.tangent
        there = ndtr((mm - stops) @ curve.tangent * PX_PER_MM / BLUR_PX)
        picture += (faced - picture) * there
    # the card's side runs back from its near corner toward the eye
    end, eye = curve.b, view.eye_mm()[:2]
    side = (eye - end) / np.hypot(*(eye - end))
    past = (mm - end) @ np.array([side[1], -side[0]])
    here = ndtr(-past * np.sign(curve.tangent @ [side[1], -side[0]]) * PX_PER_MM / BLUR_PX)
    picture = DARK + (picture - DARK) * here
    picture += np.random.default_rng(seed).normal(0, noise, picture.shape)
    return plane_of(view, picture.astype(np.float32)), curve


@pytest.mark.parametrize("off_mm", [-4.0, -1.0, 0.0, 1.5, 4.0])
def test_the_cards_end_is_found_however_far_it_was_cut_wrong(off_mm: float) -> None:
    plane, curve = ending_scene()
    ending = find_ending(edges_of(plane), curve, LENGTH + off_mm, OF)
    assert ending is not None
    assert ending.along_mm == pytest.approx(LENGTH, abs=0.05)


def test_an_end_where_another_panels_edge_crosses_is_doubted() -> None:
    plane, curve = ending_scene()
    plain = find_ending(edges_of(plane), curve, LENGTH - 2.0, OF)
    beside = find_ending(edges_of(plane), curve, LENGTH - 2.0, OF, near_ends_mm=[LENGTH + 0.3])
    assert plain is not None and beside is not None
    assert plain.err_mm < 0.3 and beside.err_mm >= 1.0


def test_a_plane_cut_short_on_a_strip_that_goes_on_to_the_leg_is_doubted() -> None:
    for short_mm, least, most in ((None, 0.0, 0.4), (2.0, 1.0, 3.0)):
        plane, curve = ending_scene(short_mm=short_mm)
        ending = find_ending(edges_of(plane), curve, LENGTH, OF, near_ends_mm=[LENGTH])
        assert ending is not None
        assert least <= ending.err_mm <= most


def test_no_end_is_found_where_the_card_goes_on() -> None:
    plane, curve = ending_scene()
    ending = find_ending(edges_of(plane), curve, LENGTH / 2, OF)
    assert ending is None
