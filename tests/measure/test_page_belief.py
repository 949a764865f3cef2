"""Which level of a page is believed: where strips stop, beside where an edge was taken for the page's."""

import numpy as np
import pytest
from scipy.special import ndtr

from capture.camera.view import View
from measure.geometry import Curve
from measure.guided.page.foot_level import FootLevel, level_by_feet
from measure.guided.page.page_belief import believed_level
from measure.layout import Card
from tests.helpers.drawn_scene import across_and_along, pixel_mm, plane_of, scene_of
from tests.measure.test_measure_level import PX_PER_MM, SD_MM, wide_camera

CARD = 0.3
OF = Card(card_mm=CARD, base_mm=0.4)


def level(y: float) -> Curve:
    return Curve(a=np.array([-50.0, y]), b=np.array([50.0, y]))


def feet_at(y: float, sd: float = 0.4) -> FootLevel:
    return FootLevel(curve=level(y), sd_mm=sd, tilt_sd_mm=0.3, feet=4)


def test_an_edge_where_the_feet_are_is_believed_to_a_tenth() -> None:
    b = believed_level(level(0.1), 0.12, feet_at(0.0), (0.0, 0.0), 0.5, 1.0)
    assert b.flush > 0.7 and b.sd_mm < 0.25
    assert 0.0 < b.curve.a[1] <= 0.1


@pytest.mark.parametrize("low", [3.0, 8.0])
def test_an_edge_far_below_the_feet_is_that_of_a_page_in_front(low: float) -> None:
    b = believed_level(level(-low), 0.12, feet_at(0.0), (low, 0.0), 0.5, 1.0)
    assert b.flush < 0.05 and b.curve.a[1] == pytest.approx(0.0, abs=0.1)
    assert 0.4 <= b.sd_mm < 0.8


def test_what_cannot_be_decided_is_as_doubtful_as_both_are_apart() -> None:
    b = believed_level(level(-1.1), 0.12, feet_at(0.0), (0.5, 0.5), 0.5, 1.0)
    assert 0.1 < b.flush < 0.9
    assert b.sd_mm > 0.5 and -1.1 < b.curve.a[1] < 0.0


def test_heights_keep_away_a_level_at_which_every_strip_would_be_wrong() -> None:
    """Feet that were seen through, 2.5 mm too low: all four strips would be 2.5 mm too long."""
    doubted = believed_level(level(0.0), 0.12, feet_at(-2.5), (0.0, 2.5), 0.5, 1.0)
    blind = believed_level(level(0.0), 0.12, feet_at(-2.5), (None, None), 0.5, 1.0)
    assert doubted.flush > blind.flush
    assert doubted.sd_mm > 0.4  # never sure where feet and edge contradict each other


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
