"""The decision rule against published numbers."""

import math

import numpy as np
import pytest

from compare.verdict.conformity import Item, Verdict, judge, overall, probability_within

INF = math.inf


def test_conformance_probability_of_jcgm_106() -> None:
    # JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 and 16.3; result 0.66 (value recalled from memory)
    assert probability_within(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)
    # JCGM 106:2012, 7.3.3 Example 1: y -5.47, u 0.05, upper limit -5.40; 0.92 (recalled from memory)
    assert probability_within(-5.47, 0.05, -INF, -5.40) == pytest.approx(0.92, abs=0.005)


def test_guard_band_keeps_the_risk_low() -> None:
    # ILAC-G8:09/2019: guard band w = U (k = 2): probability of false accept below 2.5 %
    edge = 10 - 2 * 0.7
    assert judge(edge - 1e-9, 0.7, -10, 10) is Verdict.CONFORMS
    assert 1 - probability_within(edge, 0.7, -INF, 10) == pytest.approx(0.02275, abs=1e-5)
    # without a guard band (w = 0) it is one half at the limit
    assert probability_within(10, 0.7, -INF, 10) == pytest.approx(0.5)


def test_global_risk() -> None:
    # D. K. Deaver, guard-banding papers of the 1990s, quoted in the working paper: process sd 4, test sd 1,
    # limits +-8, accepted inside the limits: false accept 0.008, false reject 0.015
    x = np.linspace(-40, 40, 400_001)
    process = np.exp(-(x**2) / 32) / (4 * math.sqrt(2 * math.pi))
    near = np.linspace(-16, 16, 4001)
    accept = np.interp(x, near, [probability_within(float(t), 1.0, -8, 8) for t in near], left=0, right=0)
    step = float(x[1] - x[0])
    bad = np.abs(x) > 8
    assert np.sum(process * accept * bad) * step == pytest.approx(0.008, abs=5e-4)
    assert np.sum(process * (1 - accept) * ~bad) * step == pytest.approx(0.015, abs=5e-4)


@pytest.mark.parametrize(
    ("y", "expected"),
    [
        (0.0, Verdict.CONFORMS),
        (0.29, Verdict.CONFORMS),
        (-0.29, Verdict.CONFORMS),
        (0.31, Verdict.OPEN),
        (0.69, Verdict.OPEN),
        (-0.69, Verdict.OPEN),
        (0.71, Verdict.FAILS),
        (-0.71, Verdict.FAILS),
        (math.nan, Verdict.OPEN),
    ],
)
def test_three_answers(y: float, expected: Verdict) -> None:
    assert judge(y, 0.1, -0.5, 0.5) is expected


def test_too_coarse_a_measurement_never_conforms() -> None:
    assert judge(0.0, 0.3, -0.5, 0.5) is Verdict.OPEN


def test_one_sided_limit() -> None:
    item = Item(name="clearance left", unit="mm", nominal=5, measured=2.0, u=0.3, low=-4, high=INF)
    assert item.deviation == -3 and item.verdict is Verdict.CONFORMS  # 2.0 - 0.6 >= 1
    assert item.probability == pytest.approx(0.99957, abs=1e-5)
    assert item.expanded == pytest.approx(0.6)


def test_overall() -> None:
    assert overall([Verdict.CONFORMS, Verdict.CONFORMS]) is Verdict.CONFORMS
    assert overall([Verdict.CONFORMS, Verdict.OPEN]) is Verdict.OPEN
    assert overall([Verdict.FAILS, Verdict.OPEN]) is Verdict.FAILS
    assert overall([]) is Verdict.OPEN  # nothing seen is nothing proved
