"""Numbered panels: what stands on the page and carries a third, and nothing else."""

import numpy as np

from measure.layout import Card, Role
from measure.tracing.numbered_panels import numbered
from measure.tracing.straight_stripes import Stripe
from tests.measure.test_measure_trace import EYE, clutter, stripe

PAGE = stripe(np.array([-100.0, -104.7]), np.array([105.0, -104.7]))
FEET = (-60.0, -22.0, 31.0)
LEAN = 6.0
TOP = -60.0


def posts(xs: tuple[float, ...] = FEET) -> list[Stripe]:
    return [stripe(np.array([x, -104.2]), np.array([x + LEAN, TOP - 0.5])) for x in xs]


ROOF = stripe(np.array([-65.0, TOP]), np.array([50.0, TOP]))


def test_posts_under_a_roof_are_numbered_from_the_left() -> None:
    found = numbered([ROOF, PAGE, *posts()], -105.0, EYE, Card())
    assert found is not None and not found.named and not found.spine_seen
    names = [p.name for p in found.layout.panels]
    assert names == ["page left", "page right", "panel 1", "panel 2", "panel 3", "panel 4"]
    for k, x in enumerate(FEET, start=1):
        assert np.hypot(*(found.at_mm[f"foot {k}"] - (x, -104.7))) < 0.5
        assert np.hypot(*(found.at_mm[f"top {k}"] - (x + LEAN, TOP))) < 0.5
    assert found.lengths["panel 2"] == ("foot 2", "top 2")
    assert found.lengths["page, foot 1 to foot 2"] == ("foot 1", "foot 2")
    assert found.lengths["panel 4, top 2 to top 3"] == ("top 2", "top 3")
    assert next(p for p in found.layout.panels if p.name == "panel 4").role is Role.PLANE
    # The layout is the traced place, turned upright: lengths are the same.
    for a, b in found.lengths.values():
        seen = np.hypot(*(found.at_mm[b] - found.at_mm[a]))
        assert abs(found.layout.length(a, b) - seen) < 1e-9


def test_clutter_alone_is_no_dummy() -> None:
    for seed in range(8):
        assert numbered([PAGE, *clutter(np.random.default_rng(seed))], -105.0, EYE, Card()) is None


def test_one_post_or_a_roof_out_of_reach_is_not_enough() -> None:
    assert numbered([ROOF, PAGE, *posts((-22.0,))], -105.0, EYE, Card()) is None
    high = stripe(np.array([-65.0, TOP + 9]), np.array([50.0, TOP + 9]))
    assert numbered([high, PAGE, *posts()], -105.0, EYE, Card()) is None
    assert numbered([], -105.0, EYE, Card()) is None


def test_what_does_not_come_down_to_the_page_does_not_stand_on_it() -> None:
    hanging = stripe(np.array([0.0, -95.0]), np.array([5.0, TOP - 0.5]))
    found = numbered([ROOF, PAGE, hanging, *posts()], -105.0, EYE, Card())
    assert found is not None
    assert [p.name for p in found.layout.panels if p.role is Role.LEG] == ["panel 1", "panel 2", "panel 3"]


def test_faint_stripes_are_not_taken() -> None:
    faint = [stripe(s.curve.a, s.curve.b, 100.0) for s in posts()]
    assert numbered([ROOF, PAGE, *faint], -105.0, EYE, Card()) is None
