"""Advice comes when its trigger is met, and only then."""

import re
from dataclasses import replace

import numpy as np
import pytest
from test_capture_adjust import A4, KNOWN, blank, sighting_of
from test_capture_scene import camera, true_saddles

from capture.adjust import solve_view
from capture.advice import Advice, advise
from capture.print_scale import PrintScale


def advice_for(
    *,
    scale: PrintScale | None = KNOWN,
    seen: int = 70,
    changes: dict[str, float] | None = None,
    **where: object,
) -> dict[str, Advice]:
    truth = camera(**where)  # type: ignore[arg-type]
    index = np.sort(np.random.default_rng(0).permutation(70)[:seen])
    found = sighting_of(true_saddles(truth, A4)[index], 0.03, index=index)
    view = solve_view(blank(), found, scale)
    found = replace(found, **(changes or {}))
    return {a.topic: a for a in advise(view, found)}


def test_a_good_photo_gets_no_advice() -> None:
    assert advice_for(eye=(0.0, 80.0, 600.0)) == {}


@pytest.mark.parametrize(
    ("topic", "strong", "words", "case"),
    [
        ("resolution", False, r"3\.\d px/mm is coarse", {"eye": (0.0, 200.0, 1500.0)}),
        ("resolution", True, r"only 2\.5 px/mm", {"eye": (0.0, 200.0, 2310.0)}),
        ("tilt", False, "seen 26 degrees", {"eye": (250.0, 100.0, 560.0)}),
        ("tilt", True, "seen 35 degrees", {"eye": (380.0, 60.0, 545.0)}),
        ("distance", False, "38 cm away", {"eye": (0.0, 50.0, 380.0), "f35_mm": 50.0}),
        ("blur", False, r"blurred by 0\.2\d mm \(2\.0 px\)", {"changes": {"blur_px": 2.0}}),
        ("blur", True, r"blurred by 0\.4\d mm", {"changes": {"blur_px": 4.0}}),
        ("exposure", False, "white is burnt out at 30 % of the marks", {"changes": {"clipped": 0.3}}),
        ("exposure", True, "differ by only 25 of 255 levels", {"changes": {"contrast": 25.0}}),
        ("print scale", False, "print scale is 0.3 % doubtful: measure the sheet's two", {"scale": None}),
        ("hidden marks", False, r"only \d\d of the 50 marks", {"seen": 28}),
    ],
)
def test_each_trigger(topic: str, strong: bool, words: str, case: dict[str, object]) -> None:
    found = advice_for(**{"eye": (0.0, 80.0, 600.0), **case})  # type: ignore[arg-type]
    assert topic in found
    assert re.search(words, found[topic].text), found[topic].text
    assert found[topic].strong is strong
    assert found[topic].cost_mm > 0 and "\n" not in found[topic].text


def test_costliest_first() -> None:
    truth = camera(eye=(380.0, 60.0, 1800.0))
    found = replace(sighting_of(true_saddles(truth, A4), 0.03), blur_px=3.0, clipped=0.5)
    costs = [a.cost_mm for a in advise(solve_view(blank(), found), found)]
    assert len(costs) >= 3 and costs == sorted(costs, reverse=True)
