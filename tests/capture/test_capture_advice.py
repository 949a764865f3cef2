"""Advice comes when its trigger is met, and only then."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from capture.advice import Advice, Weak, advise
from capture.camera.adjust import solve_view
from capture.photo import photo_of_array
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import find_sheet
from compare.tell.words.photos.photo_advice_words import photo_advice, photo_advice_line
from compare.units import MM
from tests.capture.test_capture_adjust import A4, KNOWN, blank, sighting_of
from tests.capture.test_capture_scene import camera, picture, true_saddles

APRON_SEEN = (object(),)  # only whether there is one counts here


def advice_for(
    *,
    scale: PrintScale | None = KNOWN,
    seen: int = 70,
    changes: dict[str, float] | None = None,
    **where: object,
) -> dict[Weak, Advice]:
    truth = camera(**where)  # type: ignore[arg-type]
    index = np.sort(np.random.default_rng(0).permutation(70)[:seen])
    found = sighting_of(true_saddles(truth, A4)[index], 0.03, index=index)
    view = solve_view(blank(where.get("f35_mm", 50.0)), found, scale)  # type: ignore[arg-type]
    found = replace(found, **{"apron": APRON_SEEN, **(changes or {})})
    return {a.kind: a for a in advise(view, found)}


def test_a_good_photo_gets_no_advice() -> None:
    assert advice_for(eye=(0.0, 80.0, 600.0)) == {}


@pytest.mark.parametrize(
    ("kind", "strong", "words", "case"),
    [
        (Weak.COARSE, False, r"3\.\d px/mm is coarse", {"eye": (0.0, 200.0, 1500.0)}),
        (Weak.CARD_UNSEEN, True, r"only 2\.5 px/mm", {"eye": (0.0, 200.0, 2310.0)}),
        (Weak.FROM_SIDE, False, "seen 26 degrees", {"eye": (250.0, 100.0, 560.0)}),
        (Weak.FROM_SIDE, True, "seen 35 degrees", {"eye": (380.0, 60.0, 545.0)}),
        (Weak.NEAR, False, "38 cm away", {"eye": (0.0, 50.0, 380.0), "f35_mm": 50.0}),
        (
            Weak.OUT_OF_FOCUS,
            False,
            r"by 0\.2\d mm \(2\.0 px\).* out of focus",
            {"changes": {"blur_px": 2.0}},
        ),
        (
            Weak.SHAKEN_ACROSS,
            False,
            "mostly sideways",
            {"changes": {"blur_px": 2.0, "blur_ratio": 0.5}},
        ),
        (Weak.SHAKEN_UP, False, "mostly up and down", {"changes": {"blur_px": 2.0, "blur_ratio": 1.8}}),
        (
            Weak.WIDE_LENS,
            False,
            r"ultra-wide lens .*\(1\d mm",
            {"eye": (0.0, 60.0, 410.0), "f35_mm": 18.0},
        ),
        (Weak.GLARE, False, "light glares on 6 marks", {"changes": {"n_glare": 6}}),
        (
            Weak.NO_APRON,
            False,
            "hang the sheet's apron .* draw a felt-pen line",
            {"changes": {"apron": ()}},
        ),
        (Weak.OUT_OF_FOCUS, True, r"blurred by 0\.4\d mm", {"changes": {"blur_px": 4.0}}),
        (Weak.BURNT_OUT, False, "white is burnt out at 30 % of the marks", {"changes": {"clipped": 0.3}}),
        (Weak.FLAT_LIGHT, True, "differ by only 25 of 255 levels", {"changes": {"contrast": 25.0}}),
        (
            Weak.PRINT_DOUBTFUL,
            False,
            "print scale is 0.3 % doubtful: measure the",
            {"scale": None},
        ),
        (Weak.MARKS_HIDDEN, False, r"only \d\d of the 50 marks", {"seen": 28}),
    ],
)
def test_each_trigger(kind: Weak, strong: bool, words: str, case: dict[str, object]) -> None:
    found = advice_for(**{"eye": (0.0, 80.0, 600.0), **case})  # type: ignore[arg-type]
    assert kind in found
    advice, text = found[kind], photo_advice(found[kind], MM)
    assert re.search(words, text), text
    assert advice.strong is strong
    assert photo_advice_line(advice, MM) == f"{text} (about {advice.cost_mm:.2f} mm on a length of 60 mm)"
    assert advice.cost_mm > 0 and "\n" not in text


def test_costliest_first() -> None:
    truth = camera(eye=(380.0, 60.0, 1800.0))
    found = replace(sighting_of(true_saddles(truth, A4), 0.03), blur_px=3.0, clipped=0.5)
    costs = [a.cost_mm for a in advise(solve_view(blank(), found), found)]
    assert len(costs) >= 3 and costs == sorted(costs, reverse=True)


def test_a_bowed_sheet_is_told() -> None:
    truth = camera(eye=(60.0, 120.0, 500.0))
    xyz = np.column_stack([A4.saddles, 1.5 * (A4.saddles[:, 0] / 132) ** 2])
    found = sighting_of(truth.project(xyz), 0.03)
    view = solve_view(blank(), found, KNOWN)
    assert view.bow_mm == pytest.approx(1.5, abs=0.4)
    (told,) = [a for a in advise(view, found) if a.kind in (Weak.BOWED, Weak.NOT_FLAT)]
    assert "bowed by about 1." in photo_advice(told, MM) and not told.strong


@pytest.mark.parametrize(
    ("shape", "low", "high"), [((1, 9), 0.3, 0.6), ((9, 1), 1.6, 3.5), ((3, 3), 0.9, 1.1), (None, 0.95, 1.05)]
)
def test_shake_is_told_from_focus(shape: tuple[int, int] | None, low: float, high: float) -> None:
    """A picture moved by 9 px one way while it was taken, or blurred the same both ways."""
    image = picture(camera(eye=(40.0, 90.0, 600.0), roll_deg=3.0), blur_px=0.8, samples=2)
    if shape is not None:
        image = np.asarray(cv2.blur(image, shape[::-1]))
    found = find_sheet(photo_of_array(image))
    assert low < found.blur_ratio < high and found.n_glare == 0


def test_glare_is_counted() -> None:
    """A bright spot of reflected light over the left side: black turns grey, white stays white."""
    image = picture(camera(eye=(40.0, 90.0, 600.0)), blur_px=0.8, samples=2).astype(float)
    x, y = np.meshgrid(np.arange(4000), np.arange(3000))
    spot = np.exp(-(((x - 760) / 220) ** 2) - ((y - 1500) / 500) ** 2)
    image += (250 - image) * np.clip(1.4 * spot, 0, 0.88)
    found = find_sheet(photo_of_array(np.clip(image, 0, 255).astype(np.uint8)))
    assert 4 <= found.n_glare <= 14 and len(found.index) > 50
