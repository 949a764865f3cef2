"""Coarse registration on drawn dummies: where they stand, how they are turned, how far they are open."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from capture.camera.view import View
from measure.guided.placement import Placement, place_layouts
from measure.layout import Layout
from measure.measuring_plane import MeasuringPlane
from measure.region import Region
from tests.capture.test_capture_scene import camera
from tests.helpers.drawn_dummy import at_opening, dummy_layout

ROLLS = tuple(np.deg2rad((-2.0, 0.0, 2.0)))  # as `measure.guided.find_panels` tries them
REGION = Region(left=-125.0, right=125.0, bottom=-70.0, top=75.0, table_mm=None)
SIZE = (1100, 680)


def view() -> View:
    """Camera 0.6 m away, 4 px/mm, slightly from above and from the right."""
    f35 = 4.0 * 600.0 * np.hypot(36, 24) / np.hypot(*SIZE)
    return camera(eye=(30.0, 60.0, 600.0), f35_mm=f35, size=SIZE, roll_deg=1.0)


def drawn(layouts: list[Placement], rng: np.random.Generator, clutter: int = 0) -> MeasuringPlane:
    """Picture of dummies: every panel's face back to its far end in a grey of its own, and its cut edge."""
    cam = view()
    blank = MeasuringPlane(grey=np.zeros((4, 4), np.float32), view=cam, z_mm=0.0, eye_mm=cam.eye_mm())
    picture = np.full((SIZE[1], SIZE[0]), 0.12, np.float32)

    def to_px(xy: np.ndarray) -> np.ndarray:
        return np.round(cam.project(np.column_stack([xy, np.zeros(len(xy))])) * 16).astype(np.int32)

    for _ in range(clutter):
        a = rng.uniform([-120, -60], [120, 70])
        box = a + rng.uniform(5, 25, 2) * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
        cv2.fillPoly(picture, [to_px(box)], float(rng.uniform(0.05, 0.4)), cv2.LINE_AA, 4)
    for placed in layouts:
        for panel in placed.layout.panels:
            ends = placed.apply(np.stack([placed.layout.at(panel.joints[k]) for k in (0, -1)]))
            far = blank.far_of(ends, placed.layout.depth_mm)
            face = np.array([ends[0], ends[1], far[1], far[0]])
            cv2.fillPoly(picture, [to_px(face)], float(rng.uniform(0.2, 0.5)), cv2.LINE_AA, 4)
        for panel in placed.layout.panels:
            ends = placed.apply(np.stack([placed.layout.at(panel.joints[k]) for k in (0, -1)]))
            cv2.polylines(picture, [to_px(ends)], False, 0.7, 1, cv2.LINE_AA, 4)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    noisy = picture + rng.normal(0, 0.006, picture.shape)
    return MeasuringPlane(grey=noisy.astype(np.float32), view=cam, z_mm=0.0, eye_mm=cam.eye_mm())


def at(layout: Layout, x: float, y: float, roll_deg: float = 0.0) -> Placement:
    return Placement(x_mm=x, y_mm=y, roll_rad=float(np.radians(roll_deg)), score=0.0, layout=layout)


def off_mm(found: Placement, true: Placement) -> float:
    """Mean distance of the standing joints (the fore edges may be out of the picture)."""
    keep = [n for n in true.layout.joint_names if "fore edge" not in n]
    p = found.apply(np.stack([found.layout.at(n) for n in keep]))
    q = true.apply(np.stack([true.layout.at(n) for n in keep]))
    return float(np.hypot(*(p - q).T).mean())


@pytest.mark.parametrize("seed", range(5))
def test_a_dummy_is_found_wherever_it_stands(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    layout = dummy_layout()
    true = at(layout, *rng.uniform([-30, -55], [30, 10]), roll_deg=float(rng.uniform(-2.5, 2.5)))
    best = place_layouts(drawn([true], rng, clutter=6), [layout], REGION, ROLLS)[0]
    # the candidates' search reaches 7 mm; turns are tried every 2 degrees, 1 degree over 60 mm is 1 mm
    assert off_mm(best, true) < 3.0


def test_a_faulty_strip_does_not_pull_the_layout_away() -> None:
    rng = np.random.default_rng(60)
    seen = dummy_layout(
        outer_foot_right=(64.0, 0.0), leg_top_right=(52.0, at_opening(180.0)["ridge"][1]), ridge=(1.0, 35.0)
    )
    true = at(seen, 12.0, -30.0)
    best = place_layouts(drawn([true], rng, clutter=6), [dummy_layout()], REGION, ROLLS)[0]
    assert np.hypot(best.x_mm - 12.0, best.y_mm + 30.0) < 3.0


@pytest.mark.parametrize("opening", [110.0, 120.0, 130.0])
def test_the_opening_nearest_to_the_dummys_is_chosen(opening: float) -> None:
    rng = np.random.default_rng(70)
    names = dummy_layout().joint_names
    others = tuple(
        (deg, np.array([at_opening(deg)[n] for n in names]))
        for deg in (108.0, 112.0, 116.0, 124.0, 128.0, 132.0)
    )
    nominal = replace(dummy_layout(120.0), other_openings=others)
    assert [one.opening_deg for one in nominal.openings()] == [
        120.0,
        108.0,
        112.0,
        116.0,
        124.0,
        128.0,
        132.0,
    ]
    true = at(dummy_layout(opening), -9.0, -60.0, 1.0)
    best = place_layouts(drawn([true], rng, clutter=4), nominal.openings(), REGION, ROLLS)[0]
    assert abs(best.layout.opening_deg - opening) <= 4.0
    assert off_mm(best, true) < 4.0


def test_masked_parts_are_not_looked_at() -> None:
    rng = np.random.default_rng(80)
    small = dummy_layout()
    wide = Region(left=-125.0, right=125.0, bottom=-70.0, top=75.0, table_mm=None)
    high, low = at(small, 5.0, 25.0), at(small, -5.0, -55.0)
    plane = drawn([high, low], rng)
    for hidden, other in (((-125.0, 125.0, 15.0, 75.0), low), ((-125.0, 125.0, -70.0, -5.0), high)):
        best = place_layouts(plane, [small], replace(wide, masked=(hidden,)), ROLLS)[0]
        assert off_mm(best, other) < 3.0


def test_placements_come_best_first_and_from_every_roll() -> None:
    rng = np.random.default_rng(81)
    layout = dummy_layout()
    out = place_layouts(drawn([at(layout, 0.0, -30.0)], rng), [layout], REGION, ROLLS)
    scores = [p.score for p in out]
    assert scores == sorted(scores, reverse=True) and scores[0] > 1.2 * scores[-1]
    assert {round(float(np.rad2deg(p.roll_rad))) for p in out} == {-2, 0, 2}
    assert round(float(np.rad2deg(out[0].roll_rad))) == 0


def test_a_placement_turns_and_then_shifts() -> None:
    placed = at(dummy_layout(), 10.0, 20.0, 90.0)
    assert placed.apply(np.array([[3.0, 0.0], [0.0, 2.0]])) == pytest.approx(
        np.array([[10.0, 23.0], [8.0, 20.0]])
    )


def test_an_empty_region_is_a_bad_call() -> None:
    plane = drawn([], np.random.default_rng(82))
    with pytest.raises(ValueError, match="region to search is empty"):
        place_layouts(plane, [dummy_layout()], replace(REGION, right=-130.0), ROLLS)
