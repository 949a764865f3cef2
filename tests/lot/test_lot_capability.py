"""Capability, normality and tolerance intervals, beside published values and general-purpose libraries."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.diagnostic import normal_ad
from statsmodels.stats.proportion import proportion_confint

from compare.lot.charts.control_charts import short_term_sigma
from compare.lot.study.capability import (
    capability,
    moving_range_freedom,
    normality,
    share_interval,
    share_outside,
    true_spread,
)
from compare.lot.study.tolerance_interval import (
    confidence_without_distribution,
    one_sided_factor,
    two_sided_factor,
)


def test_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6: USL 20, LSL 8, mean 16, standard deviation 2."""
    c = capability(16, 2, 30, 8, 20)
    assert c.ratio.value == pytest.approx(1.0)
    assert c.least.value == pytest.approx(0.6667, abs=5e-5) == c.upper
    assert c.lower == pytest.approx(1.3333, abs=5e-5)


def test_piston_rings() -> None:
    """Piston rings, 73.95 to 74.05, as the R package qcc prints their capability (recalled from memory)."""
    c = capability(74.00118, 0.009785039, 125, 73.95, 74.05)
    assert c.ratio.value == pytest.approx(1.703, abs=5e-4)
    assert (c.ratio.low, c.ratio.high) == pytest.approx((1.491, 1.915), abs=5e-4)
    assert (c.lower, c.upper) == pytest.approx((1.743, 1.663), abs=6e-4)
    assert c.about_target == pytest.approx(1.691, abs=5e-4)


def test_intervals_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(5)
    hits = np.zeros(2)
    for _ in range(2000):
        x = rng.normal(0.1, 0.25, 25)
        c = capability(float(x.mean()), float(x.std(ddof=1)), 25, -0.8, 0.8)
        hits += (c.ratio.low <= 1.6 / 1.5 <= c.ratio.high, c.least.low <= 0.7 / 0.75 <= c.least.high)
    # 95 %: exact for the ratio (2000 draws: +- 1 %), an approximation for the least
    assert hits[0] / 2000 == pytest.approx(0.95, abs=0.015)
    assert hits[1] / 2000 == pytest.approx(0.95, abs=0.02)


def test_one_limit_only() -> None:
    c = capability(2.0, 0.3, 20, 1.0, np.inf)
    assert np.isnan(c.ratio.value) and c.least.value == pytest.approx(1 / 0.9)


def test_freedom_of_moving_ranges() -> None:
    rng = np.random.default_rng(2)
    for n in (10, 30):
        sigmas = np.array([short_term_sigma(x) for x in rng.standard_normal((20_000, n))])
        relative = sigmas.var() / sigmas.mean() ** 2
        assert moving_range_freedom(n) == pytest.approx(1 / (2 * relative), rel=0.05)


@pytest.mark.parametrize("n", [8, 25, 200])
def test_normality_is_that_of_statsmodels(n: int) -> None:
    rng = np.random.default_rng(n)
    for draw in (rng.normal(3, 2, n), rng.uniform(0, 1, n), rng.exponential(1, n)):
        ours = normality(draw)
        _, chance = normal_ad(draw)
        assert ours.chance == pytest.approx(float(chance), rel=1e-9)
    assert np.isnan(normality([1.0, 2.0]).chance)


def test_share_interval_is_that_of_statsmodels() -> None:
    for count, n in ((0, 20), (3, 20), (20, 20), (7, 200)):
        assert share_interval(count, n) == pytest.approx(proportion_confint(count, n, method="beta"))


def test_share_outside_and_true_spread() -> None:
    assert share_outside(0, 1, -1.96, 1.96) == pytest.approx(0.05, abs=5e-5)
    assert share_outside(0.4, 0, -0.5, 0.5) == 0
    rng = np.random.default_rng(9)
    parts, measuring = rng.normal(0, 0.3, 40_000), rng.normal(0, 0.2, 40_000)
    assert true_spread(float(np.std(parts + measuring)), 0.2) == pytest.approx(0.3, rel=0.02)
    assert np.isnan(true_spread(0.1, 0.2))


def test_tolerance_factors() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % with 99 % confidence, mean 97.07, s 0.0268.

    The handbook's factors are approximations (1.8752 and 2.2173); the exact ones are those of the R package
    `tolerance`: 1.8739536 and 2.2228252.
    """
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8739536, abs=5e-8)
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2228252, abs=5e-8)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8751896, rel=1e-3)
    assert 97.07 - 0.0268 * two_sided_factor(43, 0.90, 0.99) == pytest.approx(97.010576, abs=2e-4)


def test_tolerance_intervals_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(8)
    k = two_sided_factor(15, 0.95, 0.9)
    x = rng.standard_normal((20_000, 15))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    held = stats.norm.cdf(mean + k * s) - stats.norm.cdf(mean - k * s)
    assert np.mean(held >= 0.95) == pytest.approx(0.9, abs=0.008)


def test_without_a_distribution() -> None:
    # 93 samples: 95 % between the extremes with 95 % confidence (Wilks 1941; ISO 16269-6 gives the same size)
    assert confidence_without_distribution(93, 0.95) >= 0.95 > confidence_without_distribution(92, 0.95)
