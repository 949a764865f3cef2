"""Correlated propagation against the GUM's own worked example."""

import math

import numpy as np
import pytest

from compare.quantities.quantity import Inputs, Quantity, chain

# JCGM 100:2008 (GUM), example H.2: simultaneous resistance and reactance, five sets of readings (Table H.2).
V = [5.007, 4.994, 5.005, 4.990, 4.999]
MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def gum_h2() -> tuple[Inputs, tuple[Quantity, Quantity, Quantity]]:
    data = np.array([V, np.array(MA) / 1000, PHASE])
    cov = np.cov(data) / data.shape[1]
    v, i, p = (Quantity(float(m), g) for m, g in zip(data.mean(axis=1), np.eye(3), strict=True))
    z = v.value / i.value
    c, s = math.cos(p.value), math.sin(p.value)
    r = chain(z * c, [c / i.value, -z * c / i.value, -z * s], [v, i, p])
    x = chain(z * s, [s / i.value, -z * s / i.value, z * c], [v, i, p])
    whole = chain(z, [1 / i.value, -z / i.value], [v, i])
    return Inputs(cov, {"readings": cov}), (r, x, whole)


def test_gum_h2_values_and_uncertainties() -> None:
    inputs, parts = gum_h2()
    # GUM Table H.4: R 127.732 u 0.071, X 219.847 u 0.295, Z 254.260 u 0.236
    for q, value, u in zip(parts, (127.732, 219.847, 254.260), (0.071, 0.295, 0.236), strict=True):
        assert q.value == pytest.approx(value, abs=6e-4)
        assert inputs.u(q) == pytest.approx(u, abs=6e-4)


def test_gum_h2_correlations() -> None:
    inputs, parts = gum_h2()
    cov = inputs.covariance(parts)
    r = cov / np.sqrt(np.outer(np.diag(cov), np.diag(cov)))
    # GUM Table H.4; values recalled from memory, recomputed here
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.588, -0.485, 0.993), abs=6e-4)


def test_gum_h2_without_correlation_is_wrong() -> None:
    inputs, (r, x, _) = gum_h2()
    diagonal = Inputs(np.diag(np.diag(inputs.cov)), {})
    assert diagonal.u(r) == pytest.approx(0.1945, abs=6e-4)
    assert diagonal.u(x) == pytest.approx(0.2009, abs=6e-4)


def test_shared_errors_cancel_in_a_difference() -> None:
    scale = np.outer([40, 40, 1], [40, 40, 1]) * 0.003**2
    own = np.diag([0.1**2, 0.1**2, 0])
    inputs = Inputs(scale + own, {"scale": scale, "lines": own})
    a, b = Quantity(40.0, np.eye(3)[0]), Quantity(40.1, np.eye(3)[1])
    assert inputs.u(a - b) == pytest.approx(0.1 * math.sqrt(2))
    assert inputs.u(a + b) > 0.24
    assert inputs.budget(a - b)["scale"] == pytest.approx(0.0, abs=1e-12)
    assert inputs.u(a) ** 2 == pytest.approx(sum(v * v for v in inputs.budget(a).values()))


def test_extended_keeps_the_sum_of_the_sources() -> None:
    inputs = Inputs(np.eye(2), {"a": np.eye(2)}).extended("assumed", 0.5)
    assert np.allclose(inputs.cov, sum(inputs.by_source.values()))
    assert inputs.u(Quantity(0.0, np.array([0.0, 0.0, 1.0]))) == 0.5


def test_gum_h1_end_gauge_and_its_budget() -> None:
    # JCGM 100:2008 (GUM), example H.1: length of an end gauge, 50 000 838 nm with u = 32 nm; contributions
    # 25 (standard), 9.7 (difference), 2.9 (of expansion), 16.6 (of temperature), Table H.1
    length, step, alpha, theta = 50_000_623.0, 215.0, 11.5e-6, -0.1
    sds = {
        "standard": 25.0,
        "difference": math.sqrt(5.8**2 + 3.9**2 + 6.7**2),
        "difference of expansion": 1e-6 / math.sqrt(3),
        "difference of temperature": 0.05 / math.sqrt(3),
    }
    inputs = Inputs(np.zeros((0, 0)), {})
    for name, sd in sds.items():
        inputs = inputs.extended(name, sd)
    parts = [Quantity(v, g) for v, g in zip((length, step, 0.0, 0.0), np.eye(4), strict=True)]
    gauge = chain(length + step, [1.0, 1.0, -length * theta, -length * alpha], parts)
    assert gauge.value == pytest.approx(50_000_838)
    assert inputs.u(gauge) == pytest.approx(31.66, abs=0.01) and round(inputs.u(gauge)) == 32
    budget = inputs.budget(gauge)
    assert [budget[k] for k in sds] == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.05)


def test_pairs_and_sums_are_what_a_general_library_gets() -> None:
    """Correlated lengths through the same sums in the package `uncertainties` (E. O. Lebigot)."""
    uncertainties = pytest.importorskip("uncertainties")
    rng = np.random.default_rng(11)
    a = rng.normal(size=(4, 4)) * 0.1
    cov = a @ a.T
    values = [40.1, 60.2, 59.7, 39.2]
    inputs = Inputs(cov, {"all": cov})
    mine = [Quantity(v, g) for v, g in zip(values, np.eye(4), strict=True)]
    theirs = uncertainties.correlated_values(values, cov)
    for signs in ((1, 1, -1, -1), (1, 0, 0, -1), (0, 1, -1, 0)):
        total = sum((q * s for q, s in zip(mine, signs, strict=True)), Quantity(0.0, np.zeros(4)))
        other = sum(q * s for q, s in zip(theirs, signs, strict=True))
        assert total.value == pytest.approx(other.nominal_value)
        assert inputs.u(total) == pytest.approx(other.std_dev, rel=1e-9)
