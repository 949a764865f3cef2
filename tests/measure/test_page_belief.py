"""Which level of a page is believed: where strips stop, beside where an edge was taken for the page's."""

import numpy as np
import pytest
from scipy.special import ndtr

from capture.camera.view import View
from measure.geometry import Curve
from measure.guided.page.foot_level import FootLevel, level_by_feet
from measure.guided.page.page_belief import Belief, Height, believed_level
from measure.layout import Card
from tests.helpers.drawn_scene import across_and_along, pixel_mm, plane_of, scene_of
from tests.measure.test_measure_level import PX_PER_MM, SD_MM, wide_camera

CARD = 0.3
OF = Card(card_mm=CARD, base_mm=0.4)


def level(y: float) -> Curve:
    return Curve(a=np.array([-50.0, y]), b=np.array([50.0, y]))


def feet_at(y: float, sd: float = 0.4) -> FootLevel:
    return FootLevel(curve=level(y), sd_mm=sd, tilt_sd_mm=0.3, feet=4)


def believed(edge: Curve, feet: FootLevel, excess: float | None = 0.0, slope: float = 0.0) -> Belief:
    """Four upright strips, too long by `excess` at the level of the feet, and the more the farther right."""
    heights = [] if excess is None else [Height(share=x, excess_mm=excess + slope * (x - 0.5), per_mm=1.0)
                                         for x in (0.2, 0.4, 0.6, 0.8)]  # fmt: skip
    return believed_level(edge, 0.12, feet, heights, 0.5, 1.0)


def test_an_edge_where_the_feet_are_is_believed_to_a_tenth() -> None:
    b = believed(level(0.1), feet_at(0.0))
    assert b.flush > 0.7 and b.sd_mm < 0.3
    assert 0.0 < b.curve.a[1] <= 0.1


@pytest.mark.parametrize("low", [3.0, 8.0])
def test_an_edge_far_below_the_feet_is_that_of_a_page_in_front(low: float) -> None:
    b = believed(level(-low), feet_at(0.0))
    assert b.flush < 0.05 and b.curve.a[1] == pytest.approx(0.0, abs=0.1)
    assert 0.4 <= b.sd_mm < 0.8


def test_what_cannot_be_decided_is_as_doubtful_as_both_are_apart() -> None:
    b = believed(level(-1.1), feet_at(0.0), -0.5)
    assert 0.1 < b.flush < 0.9
    assert b.sd_mm > 0.5 and -1.1 < b.curve.a[1] < 0.0


def test_heights_keep_away_a_level_at_which_every_strip_would_be_wrong() -> None:
    """Feet that were seen through, 2.5 mm too low: all four strips would be 2.5 mm too long."""
    doubted = believed(level(0.0), feet_at(-2.5), 2.5)
    blind = believed(level(0.0), feet_at(-2.5), None)
    assert doubted.flush > blind.flush
    assert doubted.sd_mm > 0.4  # never sure where feet and edge contradict each other


def askew(mm: float) -> Curve:
    return Curve(a=np.array([-50.0, -mm / 2]), b=np.array([50.0, mm / 2]))


def test_an_edge_askew_to_the_feet_leaves_the_slope_in_doubt() -> None:
    """Another edge, 2.4 mm askew, where the feet are: every leg's height depends on which is right."""
    b = believed(askew(2.4), feet_at(0.0))
    slope = float(b.curve.b[1] - b.curve.a[1])
    doubt = float(np.sqrt(np.array([-1, 1]) @ b.cov @ np.array([-1, 1])))
    assert doubt > 0.4 and min(abs(slope), abs(slope - 2.4)) < 2 * doubt


def test_a_slope_at_which_all_heights_agree_is_the_likelier() -> None:
    agreeing = believed(askew(2.4), feet_at(0.0), slope=2.4)
    not_so = believed(askew(2.4), feet_at(0.0))
    assert agreeing.curve.b[1] - agreeing.curve.a[1] > not_so.curve.b[1] - not_so.curve.a[1] + 0.2


def test_a_page_on_the_sheets_table_runs_along_it() -> None:
    feet = FootLevel(curve=askew(2.0), sd_mm=0.4, tilt_sd_mm=0.6, feet=4)
    on_table = believed_level(level(-4.0), 0.12, feet, [], 0.5, 1.0, level_slope_mm=-2.0)
    anywhere = believed_level(level(-4.0), 0.12, feet, [], 0.5, 1.0)
    slopes = [abs(float(b.curve.b[1] - b.curve.a[1])) for b in (on_table, anywhere)]
    assert slopes[0] < slopes[1]


def picture(view: View, page: Curve, xs: list[float], rng: np.random.Generator) -> np.ndarray:
    """Four upright strips on a page, white before dark; below their feet only the page's white face."""
    mm, _ = pixel_mm(view)
    up, s = across_and_along(page, mm)
    along = s * page.length
    out = np.full(up.shape, 0.08)
    for x in xs:
        away = along - x
        stripe = ndtr((away + CARD / 2) / SD_MM) - ndtr((away - CARD / 2) / SD_MM)
        face = ndtr(away / SD_MM) * (away < 4)
        out += 0.30 * face * (1 - stripe) + 0.42 * stripe
    above = ndtr((up + CARD / 2) / SD_MM)
    out = out * above + 0.55 * (1 - above)
    return (out + rng.normal(0, 0.004, out.shape)).astype(np.float32)


def test_strips_tell_where_they_stop_within_what_is_claimed() -> None:
    """Rough lines up to 5 mm off and slanted; the level where the feet stand is told within 2 sd."""
    rng = np.random.default_rng(12)
    z = []
    for k in range(12):
        view = wide_camera(rng, (1170, 300))
        page = Curve(a=np.array([-50.0, -3.0]), b=np.array([50.0, -2.6]))
        xs = [12.0, 33.0, 66.0, 90.0]
        scene = scene_of(plane_of(view, picture(view, page, xs, rng)), OF)
        strips = []
        for x in xs:
            foot = page.points(np.array([x / page.length]))[0] + 6.0 * page.normal
            strips.append(Curve(a=foot, b=foot + 7 * page.normal))
        off = rng.uniform(-5, 5)
        rough = Curve(a=page.a + (0, off), b=page.b + (0, off + rng.uniform(-2, 2)))
        told = level_by_feet(scene, rough, strips, 1.0)
        assert told is not None and told.feet == 4, k
        at = np.array([0.5])
        z.append(float((told.curve.points(at) - page.points(at))[0, 1]) / told.sd_mm)
    assert np.max(np.abs(z)) < 2 and abs(np.mean(z)) < 1


def test_strips_that_do_not_stop_tell_nothing() -> None:
    rng = np.random.default_rng(3)
    view = wide_camera(rng, (1170, 300))
    scene = scene_of(plane_of(view, np.full((300, 1170), 0.3, dtype=np.float32)), OF)
    page = Curve(a=np.array([-50.0, 0.0]), b=np.array([50.0, 0.0]))
    assert PX_PER_MM > 8
    strips = [Curve(a=np.array([x, 6.0]), b=np.array([x, 12.0])) for x in (-30.0, 30.0)]
    assert level_by_feet(scene, page, strips, 1.0) is None
