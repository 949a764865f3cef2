"""Control charts, run rules and the course of a lot, beside published values."""

import numpy as np
import pytest

from compare.lot.charts.chart_constants import constants
from compare.lot.charts.control_charts import (
    groups,
    individuals,
    short_term_sigma,
    weighted_mean,
    within_sigma,
)
from compare.lot.charts.drift import course, likeness
from compare.lot.charts.run_rules import RULES, signals
from compare.tell.draw.verdict_marks import verdict_mark
from compare.tell.words.lots.run_rule_words import signal_words
from compare.verdict.conformity import judge

# Constants to four decimals as in ASTM MNL 7 and ISO 7870-2 (A2, D3, D4, A3, B3, B4; values computed from the
# exact integrals and agreeing with the tables; d2 of 2 to 5 seen in print, others recalled from memory).
TABLE = {
    2: (1.128379, 0.797885, 1.8800, 0, 3.2665, 2.6587, 0, 3.2665),
    3: (1.692569, 0.886227, 1.0233, 0, 2.5746, 1.9544, 0, 2.5682),
    4: (2.058751, 0.921318, 0.7286, 0, 2.2821, 1.6281, 0, 2.2660),
    5: (2.325929, 0.939986, 0.5768, 0, 2.1145, 1.4273, 0, 2.0890),
    7: (2.704357, 0.959369, 0.4193, 0.0757, 1.9243, 1.1819, 0.1177, 1.8823),
    10: (3.077505, 0.972659, 0.3083, 0.2230, 1.7770, 0.9754, 0.2837, 1.7163),
}

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals chart).
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
# the same, 6.3.2.4: twenty values, the last ten as above, and the weighted means printed beside them
EARLIER = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
WEIGHTED = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip

# Inside diameters of piston rings, 25 groups of 5, in micrometres from 74 mm: D. C. Montgomery, Introduction
# to Statistical Quality Control (6th edition 2009), table 6.3.
RINGS = (
    np.array(
        """30 2 19 -8 8  -5 -8 1 11 4  -12 24 21 5 2  2 -4 -7 15 9  -8 7 15 -11 14  9 -6 -3 -15 -7
    -5 6 -6 0 5
    -15 3 -7 15 -12  8 -5 9 5 4  -2 0 -10 7 -5  -6 -2 -6 -5 -10  4 0 7 0 -4  -17 2 -2 -3 12  6 -33 -6 0 -16
    12 14 -2 -1 7  0 -16 5 -2 -4  -6 12 -14 5 7  6 10 18 3 0  -16 2 3 5 -3  0 10 13 20 3  -18 1 15 5 -4
    4 -1 -10 6 9  10 -11 -10 9 14  15 8 -7 0 10  -18 -16 -5 17 13""".split(),
        dtype=float,
    ).reshape(25, 5)
    / 1000
    + 74
)


@pytest.mark.parametrize("n", TABLE)
def test_constants(n: int) -> None:
    c = constants(n)
    d2, c4, a2, d3_low, d4_high, a3, b3, b4 = TABLE[n]
    assert c.d2 == pytest.approx(d2, abs=6e-7) and c.c4 == pytest.approx(c4, abs=6e-7)
    got = (c.a2, *c.range_limits, c.a3, *c.sd_limits)
    assert got == pytest.approx((a2, d3_low, d4_high, a3, b3, b4), abs=6e-5)


def test_constants_are_those_of_simulated_ranges() -> None:
    draws = np.random.default_rng(3).standard_normal((200_000, 6))
    spans = np.ptp(draws, axis=1)
    assert spans.mean() == pytest.approx(constants(6).d2, abs=4 * constants(6).d3 / np.sqrt(200_000))
    assert spans.std() == pytest.approx(constants(6).d3, rel=0.01)
    with pytest.raises(ValueError, match="got 1"):
        constants(1)


def test_individuals_of_the_handbook() -> None:
    chart, moving = individuals(FLOW)
    assert chart.centre == pytest.approx(50.81) and moving.centre == pytest.approx(1.8778, abs=5e-5)
    # The handbook rounds d2 to 1.128, which moves a limit by 0.0017.
    rounded = constants(2).d2 / 1.128
    assert chart.centre + (chart.upper[0] - chart.centre) * rounded == pytest.approx(55.8041, abs=5e-5)
    assert chart.centre + (chart.lower[0] - chart.centre) * rounded == pytest.approx(45.8159, abs=5e-5)
    assert chart.outside == () and moving.upper[0] == pytest.approx(3.2665 * 1.8778, abs=1e-3)


def test_weighted_mean_of_the_handbook() -> None:
    chart = weighted_mean(EARLIER + FLOW, target=50, sigma=2.0539, weight=0.3)
    assert chart.values == pytest.approx(WEIGHTED, abs=0.0051)
    # printed with sqrt(0.3/1.7) = 0.4200..: 52.5884 and 47.4115
    assert chart.upper[0] == pytest.approx(52.5884, abs=2e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=2e-4)
    early = weighted_mean(FLOW, target=50, sigma=2.0539, weight=0.3, settled=False)
    assert early.upper[0] == pytest.approx(50 + 3 * 2.0539 * 0.3)  # the first is 0.3 of one value


def test_piston_rings() -> None:
    """Montgomery's example 6.3: mean 74.001, mean standard deviation 0.0094 (mean range 0.581 / 25)."""
    means, spread = groups(RINGS, "sd")
    assert means.centre == pytest.approx(74.001, abs=5e-4)
    # printed from rounded values, 74.001 +- 1.427 x 0.0094
    assert (means.lower[0], means.upper[0]) == pytest.approx((73.988, 74.014), abs=7e-4)
    assert spread.centre == pytest.approx(0.0094, abs=5e-5)
    assert (spread.lower[0], spread.upper[0]) == pytest.approx((0, 0.0196), abs=5e-5)
    assert means.outside == () == spread.outside and spread.kind == "standard deviations"
    by_range, ranges = groups(RINGS)
    assert ranges.centre == pytest.approx(0.581 / 25)
    assert ranges.upper[0] == pytest.approx(2.1145 * 0.581 / 25, abs=1e-6)
    assert by_range.upper[0] == pytest.approx(74.0011760 + 0.5768 * 0.581 / 25, abs=2e-6)
    # Printed estimate of the spread within groups: 0.0099 (of ranges), 0.0100 (of standard deviations).
    assert within_sigma(RINGS) == pytest.approx(0.00999, abs=5e-6)
    assert within_sigma(RINGS, "sd") == pytest.approx(0.0100, abs=5e-6)


def test_false_alarms_of_the_zone_rules() -> None:
    """The four zone tests with a run of eight cry wolf once in 91.75 points (Champ and Woodall, Technometrics
    29, 1987); with Nelson's run of nine a little less often."""
    rng = np.random.default_rng(11)
    count = points = 0
    for _ in range(400):
        x = rng.standard_normal(1000)
        chart, _ = individuals(x)
        flat = type(chart)(
            kind="individuals",
            values=x,
            centre=0.0,
            lower=chart.lower,
            upper=chart.upper,
            sigma=1.0,
        )
        ends = {s.last for s in signals(flat, ("beyond", "two of three", "four of five", "run"))}
        first = min(ends, default=1000)
        points += first + 1
        count += first < 1000
    assert 85 < points / count < 110


@pytest.mark.parametrize(
    ("values", "rule", "first", "last"),
    [
        ([0, 0, 3.1, 0], "beyond", 2, 2),
        ([0, 2.1, 0, 2.2, 0], "two of three", 1, 3),
        ([0, 1.1, 1.2, 0, 1.3, 1.1, 0], "four of five", 1, 5),
        ([-1, *[0.2] * 9, -0.1], "run", 1, 9),
        ([0.3, -0.5, -0.3, -0.1, 0.1, 0.3, 0.5, -0.2], "trend", 1, 6),
    ],
)
def test_each_rule_finds_its_pattern(values: list[float], rule: str, first: int, last: int) -> None:
    chart = weighted_mean(np.zeros(len(values)), target=0, sigma=1)
    for sign in (1, -1):
        x = sign * np.array(values, dtype=float)
        unit = type(chart)(
            kind="individuals", values=x, centre=0.0, lower=x * 0 - 3, upper=x * 0 + 3, sigma=1.0
        )
        (found,) = [s for s in signals(unit) if s.rule == rule]
        assert (found.first, found.last, found.above) == (first, last, sign > 0)
        assert ("above" in signal_words(found) or "rising" in signal_words(found)) == (sign > 0)
    assert set(RULES) >= {rule}


@pytest.mark.parametrize("kind", ["drift", "step", "drift from"])
def test_a_change_is_found_where_it_is(kind: str) -> None:
    t = np.arange(40.0)
    shape = {"drift": t / 39, "step": t >= 22, "drift from": np.maximum(t - 21, 0) / 18}[kind]
    starts = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        found = course(0.1 * rng.standard_normal(40) - 0.9 * shape, rng)
        assert found.changed and found.chance <= 0.002
        starts.append((found.kind, found.start))
        assert -1.1 < found.change < -0.6
    right = [s for k, s in starts if k == kind]
    assert len(right) >= 24  # the two drifts are told apart from a step, mostly also from each other
    if kind == "step":
        assert np.mean(np.abs(np.array(right) - 22) <= 1) > 0.9
    if kind == "drift from":
        assert abs(np.median(right) - 22) <= 3


def test_a_steady_lot_is_called_steady() -> None:
    called = [
        course(np.random.default_rng(s).standard_normal(30), np.random.default_rng(s + 999)).changed
        for s in range(300)
    ]
    assert sum(called) <= 9  # 1 % wanted; 3 % would be three standard deviations off


def test_short_and_constant_series() -> None:
    rng = np.random.default_rng(0)
    assert not course([1.0, 2.0, 3.0], rng).changed
    assert not course(np.ones(50), rng).changed
    assert np.isnan(short_term_sigma([1.0]))
    long = course(np.concatenate([np.zeros(3001), np.ones(2000)]) + rng.normal(0, 1, 5001), rng)
    assert long.kind == "step" and abs(long.start - 3001) < 60 and len(long.fitted) == 5001


def wandering(alike: float, count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Series of 24 in which each value is a little like the one before (first-order autoregression)."""
    x = rng.normal(size=(count, 24))
    for k in range(1, 24):
        x[:, k] = alike * x[:, k - 1] + np.sqrt(1 - alike**2) * x[:, k]
    return list(x)


def test_wandering_is_no_change_and_a_change_is_still_found() -> None:
    rng = np.random.default_rng(31)
    told = [course(x, rng, sure=0.01).changed for x in wandering(0.5, 120, rng)]
    assert sum(told) <= 12  # 5 % of 120 and two standard errors; a shuffle alone would tell 25 %
    step = np.where(np.arange(24) >= 9, 0.5, 0.0) / 0.144  # half a millimetre, cut and measured as usual
    found = [course(x + step, rng, sure=0.0005).changed for x in wandering(0.0, 25, rng)]
    assert sum(found) >= 20


def test_likeness_of_neighbours_is_corrected_for_the_fit() -> None:
    rng = np.random.default_rng(32)
    t = np.arange(24.0)
    for alike in (0.0, 0.5):
        left = [x - np.polyval(np.polyfit(t, x, 1), t) for x in wandering(alike, 400, rng)]
        seen = [likeness(r) for r in left]
        # clipped at 0, and a line takes out less than the best of all shapes: a little high
        assert alike - 0.05 < float(np.mean(seen)) < alike + 0.25


def test_values_that_weigh_little_make_no_change() -> None:
    rng = np.random.default_rng(33)
    x = rng.normal(0, 0.1, 24)
    x[17:] += 0.6  # the last ones, photographed badly
    weights = np.where(np.arange(24) >= 17, 0.01, 1.0)
    assert course(x, rng).changed and not course(x, rng, weights=weights).changed


def test_a_point_outside_its_limits_is_never_green() -> None:
    """Too close to call and measured outside: an open square with the edge of a fault; a disc only inside."""
    sure, open_inside, open_outside, bad = (
        verdict_mark(0, 0, judge(d, 0.1, -0.8, 0.8), beyond=abs(d) > 0.8) for d in (0.5, 0.7, 0.9, 1.1)
    )
    assert 'class="mark in"' in sure and "circle" in sure
    assert 'class="mark doubt"' in open_inside and 'class="mark doubt beyond"' in open_outside
    assert 'class="mark out"' in bad
    assert 'class="mark plain"' in verdict_mark(0, 0, None)  # a mean has no verdict, and no green
