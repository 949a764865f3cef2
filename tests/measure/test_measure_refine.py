"""Refining a near end: ends and bow on pictures with exactly known edges; claimed against real scatter."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import Template
from measure.edges.line_fit import Fit, refine
from measure.edges.stations import outer_sign
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane
from tests.helpers.drawn_scene import (
    BLUR_PX,
    across_and_along,
    close_camera,
    near_end_picture,
    pixel_mm,
    plane_of,
)

CARD = 0.3
LENGTH = 40.0
TRIM = 1.5
PX_PER_MM = 10.0
CLEAR = (0.30, 0.55, 0.10)  # face, cut edge, background
FAINT = (0.30, 0.36, 0.25)
TEMPLATE = Template(card_mm=CARD, blur_mm=BLUR_PX / PX_PER_MM, depth_mm=60.0)


def true_curve(angle_deg: float, bow_mm: float = 0.0) -> Curve:
    half = LENGTH / 2 * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    return Curve(a=-half, b=half, bow=bow_mm)


def scene(
    rng: np.random.Generator, curve: Curve, levels: tuple[float, float, float], noise: float
) -> tuple[MeasuringPlane, np.ndarray]:
    """Picture with the near end at a random place between the pixels, and its plane."""
    view = close_camera(PX_PER_MM, shift_px=tuple(rng.uniform(-0.5, 0.5, 2)))
    blank = plane_of(view, np.zeros((4, 4), np.float32))
    from_right = levels if outer_sign(blank, curve) > 0 else levels[::-1]
    picture = near_end_picture(view, curve, from_right, card_mm=CARD, noise=noise, rng=rng)
    return plane_of(view, picture), picture


def rough_for(curve: Curve, rng: np.random.Generator, off_mm: float = 0.5) -> Curve:
    d0, d1 = rng.uniform(-off_mm, off_mm, 2)
    return Curve(a=curve.a, b=curve.b, d0=float(d0), d1=float(d1)).straightened()


def errors(fit: Fit, curve: Curve) -> np.ndarray:
    """Offsets (3,) of the fitted ends and bow from the true ones, mm."""
    n = curve.normal
    return np.array([(fit.curve.a - curve.a) @ n, (fit.curve.b - curve.b) @ n, fit.curve.bow - curve.bow])


def draws(
    n: int, angle_deg: float, bow_mm: float, levels: tuple[float, float, float], noise: float, seed: int
) -> tuple[np.ndarray, list[Fit]]:
    rng = np.random.default_rng(seed)
    curve = true_curve(angle_deg, bow_mm)
    fits = []
    for _ in range(n):
        plane, _ = scene(rng, curve, levels, noise)
        fits.append(refine(edges_of(plane), rough_for(curve, rng), TEMPLATE, trim_mm=(TRIM, TRIM)))
    return np.array([errors(f, curve) for f in fits]), fits


@pytest.mark.parametrize("angle_deg", [11.0, -14.0, 68.0, 109.0, 170.0, 0.0])
def test_a_straight_near_end_is_found_at_any_angle(angle_deg: float) -> None:
    error, fits = draws(6, angle_deg, 0.0, CLEAR, 0.004, seed=3)
    # 0.01 mm is a tenth of a pixel; the ends lie 1.5 mm beyond the stations used
    assert np.abs(error[:, :2]).max() < 0.01
    assert np.abs(error[:, 2]).max() < 0.01
    assert all(f.n_used > 0.8 * f.n_stations and f.mean_score > 25 for f in fits)


@pytest.mark.parametrize(
    "levels",
    [(0.5, 0.1, 0.3), (0.2, 0.5, 0.8), (0.8, 0.5, 0.2), (0.05, 0.12, 0.02)],
    ids=["dark edge", "brighter outward", "darker outward", "dark corner"],
)
def test_a_straight_near_end_is_found_in_any_light(levels: tuple[float, float, float]) -> None:
    error, _ = draws(6, 11.0, 0.0, levels, 0.003, seed=4)
    assert np.abs(error[:, :2]).max() < 0.02


@pytest.mark.parametrize("bow_mm", [0.5, -0.8, 1.4])
def test_a_bowed_near_end_is_found_with_its_bow(bow_mm: float) -> None:
    error, _ = draws(4, 11.0, bow_mm, CLEAR, 0.004, seed=5)
    assert np.abs(error[:, :2]).max() < 0.02
    assert np.abs(error[:, 2]).max() < 0.03


@pytest.fixture(scope="module")
def faint() -> tuple[np.ndarray, list[Fit]]:
    """150 faint and noisy near ends: here noise, not interpolation, decides the scatter."""
    return draws(150, 11.0, 0.0, FAINT, 0.02, seed=6)


def test_claimed_uncertainty_is_the_real_scatter(faint: tuple[np.ndarray, list[Fit]]) -> None:
    error, fits = faint
    scatter = error[:, :2].std(axis=0, ddof=1)
    claimed = np.median([np.sqrt(np.diag(f.cov))[:2] for f in fits], axis=0)
    # 150 draws fix the scatter to 6 % (one sigma)
    assert np.all(np.abs(claimed / scatter - 1) < 0.3)
    # the two ends of a line swing against each other
    real = np.corrcoef(error[:, 0], error[:, 1])[0, 1]
    told = np.median([f.cov[0, 1] / np.sqrt(f.cov[0, 0] * f.cov[1, 1]) for f in fits])
    assert real == pytest.approx(told, abs=0.25) and told < -0.2
    assert np.all(np.abs(error.mean(axis=0)[:2]) < 0.01)


def test_scatter_beside_the_cramer_rao_bound(faint: tuple[np.ndarray, list[Fit]]) -> None:
    """No unbiased estimate can beat the bound; ours should not be far from it.

    Bound for an edge of step A under a Gaussian blur sigma with noise s at unit spacing: Fisher information
    A^2 / (2 sigma sqrt(pi) s^2), the standard sum over samples of (d model / d place)^2 / s^2. The bound for
    discrete edges: Gatherer, Stanford CSL-TR-93-560 (1993), "The Cramer Rao Bound for Discrete-Time Edge
    Position", of which only the abstract was seen. Two steps t apart move together: their informations add,
    with a cross term exp(-t^2 / 4 sigma^2).
    """
    error, fits = faint
    face, stripe, background = FAINT
    a, b = stripe - face, background - stripe
    sigma, t, noise = np.hypot(BLUR_PX, 12**-0.5), CARD * PX_PER_MM, 0.02
    per_row = (a * a + b * b + 2 * a * b * np.exp(-((t / (2 * sigma)) ** 2))) / (
        2 * sigma * np.sqrt(np.pi) * noise**2
    )
    rows = (LENGTH - 2 * TRIM) * PX_PER_MM  # a line crosses one pixel's area per pixel of its length
    bound_mm = 1 / np.sqrt(per_row * rows) / PX_PER_MM
    middle = (error[:, 0] + error[:, 1]) / 2
    ratio = middle.std(ddof=1) / bound_mm
    # Unknown levels, slope and bend of the light cost a tenth, reading between pixels and single stations'
    # peaks the rest; the draws themselves scatter by 6 %.
    assert 0.9 < ratio < 1.8


def test_half_hidden_the_rest_still_tells() -> None:
    rng = np.random.default_rng(8)
    curve = true_curve(11.0)
    plane, picture = scene(rng, curve, CLEAR, 0.004)
    mm, _ = pixel_mm(plane.view)
    _, s = across_and_along(curve, mm)
    hidden = (s > 0.4) & (s < 0.75)
    picture[hidden] = 0.4
    fit = refine(
        edges_of(plane_of(plane.view, picture)), rough_for(curve, rng), TEMPLATE, trim_mm=(TRIM, TRIM)
    )
    assert np.abs(errors(fit, curve)[:2]).max() < 0.02
    assert 0.5 * fit.n_stations < fit.n_used < 0.72 * fit.n_stations


def test_the_tone_of_cut_edges_tells_them_from_a_printed_line() -> None:
    rng = np.random.default_rng(9)
    curve = true_curve(11.0)
    plane, picture = scene(rng, curve, FAINT, 0.004)
    mm, _ = pixel_mm(plane.view)
    away, _ = across_and_along(curve, mm)
    decoy_mm = -1.0 * outer_sign(plane, curve)  # a dark line on the face, as wide as the card
    printed = ndtr((away - decoy_mm + CARD / 2) / 0.095) - ndtr((away - decoy_mm - CARD / 2) / 0.095)
    both = plane_of(plane.view, (picture - 0.2 * printed).astype(np.float32))
    rough = Curve(a=curve.a, b=curve.b, d0=decoy_mm / 2, d1=decoy_mm / 2).straightened()
    misled = refine(edges_of(both), rough, TEMPLATE, trim_mm=(TRIM, TRIM))
    told = refine(edges_of(both), rough, replace(TEMPLATE, tone=FAINT[1]), trim_mm=(TRIM, TRIM))
    assert np.abs(errors(misled, curve)[:2] - decoy_mm).max() < 0.1
    # the line's flank bends the light beside the card: a few hundredths
    assert np.abs(errors(told, curve)[:2]).max() < 0.05


def test_where_there_is_nothing_little_is_claimed() -> None:
    rng = np.random.default_rng(10)
    curve = true_curve(11.0)
    plane, _ = scene(rng, curve, (0.3, 0.3, 0.3), 0.01)
    fit = refine(edges_of(plane), curve, TEMPLATE, trim_mm=(TRIM, TRIM))
    assert fit.mean_score < 1.0 and not fit.n_used > 0.4 * fit.n_stations


def test_the_background_side_is_away_from_the_eye() -> None:
    view = close_camera(eye=(0.0, 55.0, 600.0))
    plane = plane_of(view, np.zeros((4, 4), np.float32))
    low = Curve(a=np.array([-10.0, 0.0]), b=np.array([10.0, 0.0]))  # below the eye: its left side is nearer
    assert outer_sign(plane, low) == -1.0
    high = Curve(a=np.array([-10.0, 80.0]), b=np.array([10.0, 80.0]))
    assert outer_sign(plane, high) == 1.0
    assert outer_sign(plane, Curve(a=low.b, b=low.a)) == 1.0
