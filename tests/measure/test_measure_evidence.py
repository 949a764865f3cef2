"""Evidence for a near end, on profiles integrated exactly: face, cut edge, background."""

import numpy as np
import pytest

from measure.edges.edge_evidence import Evidence, Template, softened
from measure.edges.stripe_evidence import near_end_evidence
from tests.helpers.drawn_edges import ramp_of_steps, top_of_parabola

CARD, BLUR, PX_PER_MM, STEP = 0.3, 0.09, 10.0, 0.05
TEMPLATE = Template(card_mm=CARD, blur_mm=BLUR)
OFFSETS = np.arange(-60, 61) * STEP
NOISE = 0.004  # linear light, full scale = 1: a clean photo

PAIRS = {
    "white stripe": (0.3, 0.55, 0.1),
    "dark stripe": (0.5, 0.1, 0.3),
    "brighter outward": (0.2, 0.5, 0.8),
    "darker outward": (0.8, 0.5, 0.2),
    "faint, in a dark corner": (0.05, 0.12, 0.02),
}


def card(
    levels: tuple[float, ...], at: np.ndarray, noise: float, rng: np.random.Generator, face_mm: float = 9.0
) -> np.ndarray:
    """Profiles (S, D) with the stripe's middle at each of `at`; levels from face to background.

    Four levels begin with what lies beyond a face of that width.
    """
    edges = [-CARD / 2 - face_mm, -CARD / 2, CARD / 2][-(len(levels) - 1) :]
    rows = [ramp_of_steps(OFFSETS, a + np.array(edges), np.array(levels), BLUR, 1 / PX_PER_MM) for a in at]
    # neighbouring samples share pixels: noise every 0.1 mm, linear between
    coarse = rng.normal(0, noise, (len(at), len(OFFSETS[::2])))
    grain = np.array([np.interp(OFFSETS, OFFSETS[::2], c) for c in coarse])
    return (np.array(rows) + grain).astype(np.float32)


def look(strip: np.ndarray, face_mm: float | None = None) -> Evidence:
    face = None if face_mm is None else np.full(len(strip), face_mm)
    return near_end_evidence(strip, OFFSETS, TEMPLATE, 1.0, PX_PER_MM, face)


def found(evidence: Evidence, at: np.ndarray) -> np.ndarray:
    """Place of the best offset per station, found the way `refine` does: uncapped, by a parabola."""
    total = evidence.outer + 0.5 * evidence.inner
    near = [np.abs(evidence.offsets_mm - a) < 0.35 for a in at]
    return np.array([top_of_parabola(evidence.offsets_mm[n], t[n]) for n, t in zip(near, total, strict=True)])


@pytest.mark.parametrize("levels", PAIRS.values(), ids=PAIRS.keys())
def test_the_peak_lies_on_the_card_without_bias(levels: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(11)
    at = rng.uniform(-0.6, 0.6, 300)
    error = found(look(card(levels, at, NOISE, rng)), at) - at
    # a tenth of a pixel; the scatter of 300 alone would be some 0.0005
    assert abs(error.mean()) < 0.01
    assert error.std() < 0.02
    # and wherever the card falls between the samples
    phase = np.floor((at % STEP) / STEP * 5)
    by_phase = np.array([error[phase == k].mean() for k in range(5)])
    assert np.ptp(by_phase) < 0.012


@pytest.mark.parametrize("levels", PAIRS.values(), ids=PAIRS.keys())
def test_a_pair_of_steps_outweighs_a_lone_step(levels: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(12)
    at = rng.uniform(-0.5, 0.5, 100)
    pair = look(card(levels, at, NOISE, rng)).score.max(axis=1)
    face, stripe, background = levels
    for lone in ((face, face, background), (stripe, stripe, background), (face, stripe, stripe)):
        alone = look(card(lone, at, NOISE, rng)).score.max(axis=1)
        # the inner step is worth half the outer: without it at most 2/3 and some noise is left
        assert np.mean(alone) < 0.8 * np.mean(pair)


def test_the_step_beside_the_background_counts_twice() -> None:
    rng = np.random.default_rng(13)
    at = np.zeros(50)
    background_step = look(card((0.4, 0.4, 0.1), at, NOISE, rng))
    face_step = look(card((0.1, 0.4, 0.4), at, NOISE, rng))
    k = len(background_step.offsets_mm) // 2
    assert np.mean(background_step.score[:, k]) > 1.7 * np.mean(face_step.score[:, k])
    assert np.all(background_step.outer[:, k] > TEMPLATE.cap) and np.all(background_step.inner[:, k] < 6)
    assert np.all(face_step.inner[:, k] > TEMPLATE.cap) and np.all(face_step.outer[:, k] < 6)


def test_the_other_side_is_the_mirror_image() -> None:
    rng = np.random.default_rng(14)
    at = rng.uniform(-0.5, 0.5, 20)
    strip = card((0.6, 0.2, 0.35, 0.05), at, NOISE, rng, face_mm=0.7)
    face = np.full(20, 0.7)
    plain = near_end_evidence(strip, OFFSETS, TEMPLATE, 1.0, PX_PER_MM, face)
    mirrored = near_end_evidence(strip[:, ::-1], OFFSETS, TEMPLATE, -1.0, PX_PER_MM, face)
    for field in ("score", "outer", "inner", "middle"):
        assert np.allclose(getattr(plain, field), getattr(mirrored, field)[:, ::-1], atol=1e-6)
    assert np.allclose(plain.offsets_mm, -mirrored.offsets_mm[::-1])
    wrong_side = near_end_evidence(strip[:, ::-1], OFFSETS, TEMPLATE, 1.0, PX_PER_MM, face)
    assert np.mean(wrong_side.score.max(axis=1)) < np.mean(plain.score.max(axis=1))


def test_the_far_end_of_a_narrow_face_is_explained_not_held_against_the_card() -> None:
    rng = np.random.default_rng(15)
    at = rng.uniform(-0.4, 0.4, 200)
    strip = card((0.7, 0.2, 0.4, 0.1), at, NOISE, rng, face_mm=0.6)
    known, unknown = look(strip, 0.6), look(strip)
    k = np.argmin(np.abs(known.offsets_mm[None, :] - at[:, None]), axis=1)
    rows = np.arange(len(at))
    # the far step of 0.5 beside the card's own of 0.3 spoils the fit unless it is part of it
    assert np.median(known.outer[rows, k]) > 3 * np.median(unknown.outer[rows, k])
    error = found(known, at) - at
    # the width is rounded to 0.1 mm and the far end is blurred too: a fifth of a pixel
    assert abs(error.mean()) < 0.02 and error.std() < 0.02


def test_a_face_as_wide_as_the_window_needs_no_far_end() -> None:
    rng = np.random.default_rng(16)
    strip = card((0.3, 0.55, 0.1), np.zeros(10), NOISE, rng)
    for wide in (1.4, 5.0):
        assert np.array_equal(look(strip, wide).score, look(strip).score)


def test_noise_and_smooth_light_are_no_evidence() -> None:
    rng = np.random.default_rng(17)
    flat = np.full((400, len(OFFSETS)), 0.3)
    for noise in (0.001, 0.008, 0.03):
        evidence = look((flat + rng.normal(0, noise, flat.shape)).astype(np.float32))
        # Twice the log-likelihood ratio of one needless parameter has a chi-square law of one degree of
        # freedom: mean 1, 99 % below 6.63 (Wilks 1938). Over-sampling and the floor only lower it.
        assert np.mean(evidence.outer) < 0.5
        assert np.quantile(evidence.outer, 0.99) < 6.63 / 2
        assert np.mean(evidence.score) < 0.75
    bowl = (0.3 + 0.1 * OFFSETS + 0.05 * OFFSETS**2).astype(np.float32)
    assert look(bowl[None]).score.max() < 0.01


def test_texture_below_the_floor_is_no_proof_in_a_dark_corner() -> None:
    rng = np.random.default_rng(18)
    strip = card((0.02, 0.022, 0.019), np.zeros(50), 0.0001, rng)  # below the floor, hardly any noise
    assert look(strip).score.max() < 3
    assert look(25 * strip).score.max() > 8 * look(strip).score.max()  # the same in full light


def test_the_floor_grows_with_the_light() -> None:
    """A step of 0.02 is a card's edge on dark card and a ripple on white paper in the sun."""
    rng = np.random.default_rng(21)
    dark = look(card((0.03, 0.05, 0.01), np.zeros(50), 0.0005, rng))
    light = look(card((0.83, 0.85, 0.81), np.zeros(50), 0.0005, rng))
    assert np.median(dark.score.max(axis=1)) > 4 * np.median(light.score.max(axis=1))


def test_sampling_more_densely_does_not_make_more_evidence() -> None:
    rng = np.random.default_rng(19)
    strip = card((0.3, 0.4, 0.22), np.zeros(100), 0.01, rng)
    fine_x = np.arange(-120, 121) * (STEP / 2)
    fine = np.array([np.interp(fine_x, OFFSETS, row) for row in strip]).astype(np.float32)
    once = look(strip)
    twice = near_end_evidence(fine, fine_x, TEMPLATE, 1.0, PX_PER_MM)
    a = once.outer[:, len(once.offsets_mm) // 2]
    b = twice.outer[:, len(twice.offsets_mm) // 2]
    # the same light, interpolated: the denser sum is the same integral to some per cent
    assert np.median(b) == pytest.approx(np.median(a), rel=0.1)
    assert np.median(a) < 0.9 * TEMPLATE.cap  # no cap at work


def test_no_station_counts_more_than_the_cap() -> None:
    rng = np.random.default_rng(20)
    strip = card((0.1, 0.9, 0.1), np.zeros(5), NOISE, rng)
    evidence = look(strip)
    assert evidence.score.max() == pytest.approx(1.5 * TEMPLATE.cap)
    assert evidence.outer.max() > TEMPLATE.cap


def test_the_middle_is_the_grey_of_the_cut_edge() -> None:
    thick = Template(card_mm=0.8, blur_mm=BLUR)
    row = ramp_of_steps(OFFSETS, np.array([-0.4, 0.4]), np.array([0.2, 0.6, 0.1]), BLUR, 1 / PX_PER_MM)
    evidence = near_end_evidence(row[None].astype(np.float32), OFFSETS, thick, 1.0, PX_PER_MM)
    # the middle half lies two blurs inside the stripe: 0.5 * 2.3 % of each step on each side at the most
    assert evidence.middle[0, len(evidence.offsets_mm) // 2] == pytest.approx(0.6, abs=0.01)
    assert evidence.offsets_mm[0] == pytest.approx(-evidence.offsets_mm[-1])


def test_softening_keeps_the_order_and_tames_the_large() -> None:
    x = np.linspace(0, 500, 2001)
    y = softened(x)
    assert y[0] == 0 and np.all(np.diff(y) > 0) and np.all(np.diff(y, 2) < 0)
    assert y[1] == pytest.approx(x[1], rel=0.01)  # small ones count in full
    assert y[-1] < 70  # 20 log(26)
