"""The uncertainty budget against the GUM's worked example and a general-purpose uncertainty library.

Outside sources: JCGM 100:2008 (GUM) example H.2, Tables H.2 and H.4 (its readings are in
test_compare_quantity.py); the Python package "uncertainties" (linear propagation with correlated inputs by
its own automatic differentiation), https://uncertainties.readthedocs.io, "Correlated variables".
"""

import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from compare.quantities.joint_quantities import Joints
from compare.tell.check.budget_table import budgets_dict
from measure.joints.error_budget import budget_of
from measure.profile import Profile
from tests.compare.test_compare_quantity import MA, PHASE, V, gum_h2

JOINTS = ("inner foot right", "ridge", "leg top right")
XY = np.array([[12.0, 0.3], [1.0, 38.0], [51.0, 39.5]])


def random_cov(rng: np.random.Generator, n: int, size: float) -> np.ndarray:
    a = rng.normal(size=(n, n)) * size / np.sqrt(n)
    return a @ a.T


def profile(rng: np.random.Generator) -> Profile:
    lever = (XY - (5.0, 120.0)).ravel() / 650
    sources = {
        "edge fits": random_cov(rng, 6, 0.1),
        "near ends": random_cov(rng, 6, 0.07),
        "standoff": np.outer(lever, lever) * 0.5**2,
    }
    return Profile(
        joints=JOINTS, xy_mm=XY, cov_mm2=np.sum(list(sources.values()), axis=0), cov_by_source=sources,
        extra_arc_mm={}, panels=(), undetermined={}, standoff_mm=0.0,
    )  # fmt: skip


def test_gum_h2_impedance_as_a_budget_and_by_the_library() -> None:
    inputs, parts = gum_h2()
    data = np.array([V, np.array(MA) / 1000, PHASE])
    v, i, p = uncertainties.correlated_values(data.mean(axis=1), np.cov(data) / data.shape[1])
    library = (v / i * umath.cos(p), v / i * umath.sin(p), v / i)
    # GUM Table H.4: u(R) 0.071, u(X) 0.295, u(Z) 0.236 ohm
    for q, other, u in zip(parts, library, (0.071, 0.295, 0.236), strict=True):
        budget = budget_of("R", q.value, q.gradient, inputs.by_source)
        assert budget.u == pytest.approx(u, abs=6e-4)
        assert budget.u == pytest.approx(other.s, rel=1e-9)
        assert budget.value == pytest.approx(other.n, rel=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_every_line_of_a_length_is_what_the_library_gets_for_that_source_alone(seed: int) -> None:
    made = profile(np.random.default_rng(seed))
    q = Joints(made, 6, {}).distance("ridge", "leg top right")
    budget = budget_of("plane spacing right", q.value, q.gradient, made.cov_by_source)

    def length(cov: np.ndarray) -> float:
        x = uncertainties.correlated_values(XY.ravel(), cov)
        return float(umath.hypot(x[4] - x[2], x[5] - x[3]).s)

    for line in budget.lines:
        assert line.u == pytest.approx(length(made.cov_by_source[line.source]), rel=1e-6)
        assert line.u == pytest.approx(line.sensitivity * line.u_input, rel=1e-12)
    assert budget.u == pytest.approx(length(made.cov_mm2), rel=1e-6)


def test_the_angle_between_two_panels_in_degrees() -> None:
    made = profile(np.random.default_rng(11))
    joints = Joints(made, 6, {})
    q = (joints.direction("inner foot right", "ridge") - joints.direction("ridge", "leg top right")) * float(
        np.degrees(1.0)
    )
    x = uncertainties.correlated_values(XY.ravel(), made.cov_mm2)
    angle = umath.atan2(x[3] - x[1], x[2] - x[0]) - umath.atan2(x[5] - x[3], x[4] - x[2])
    budget = budget_of("angle", q.value, q.gradient, made.cov_by_source, unit="deg")
    assert budget.u == pytest.approx(np.degrees(angle.s), rel=1e-6)


def test_shares_add_up_and_the_largest_stands_first() -> None:
    made = profile(np.random.default_rng(3))
    q = Joints(made, 6, {}).distance("ridge", "leg top right")
    budget = budget_of("x", q.value, q.gradient, made.cov_by_source, sizes_mm={"standoff": 0.5})
    assert sum(line.share for line in budget.lines) == pytest.approx(1.0)
    assert [line.u for line in budget.lines] == sorted((line.u for line in budget.lines), reverse=True)
    assert budget.expanded == pytest.approx(2 * budget.u)


def test_the_standoff_line_is_its_own_size_times_the_similar_triangles() -> None:
    made = profile(np.random.default_rng(3))
    q = Joints(made, 6, {}).distance("ridge", "leg top right")
    budget = budget_of("x", q.value, q.gradient, made.cov_by_source, sizes_mm={"standoff": 0.5})
    line = next(b for b in budget.lines if b.source == "standoff")
    # Seen from 650 mm, a plane 1 mm nearer makes every length 1/650 of itself larger.
    assert line.u_input == pytest.approx(0.5)
    assert line.sensitivity == pytest.approx(q.value / 650, rel=1e-9)


def test_a_source_that_does_nothing_is_left_out() -> None:
    made = profile(np.random.default_rng(3))
    q = Joints(made, 6, {}).distance("ridge", "leg top right")
    budget = budget_of("x", q.value, q.gradient, {**made.cov_by_source, "idle": np.zeros((6, 6))})
    assert "idle" not in [line.source for line in budget.lines]
    nothing = budget_of("x", q.value, q.gradient, {"idle": np.zeros((6, 6))})
    assert nothing.u == 0.0 and nothing.lines == ()
    assert budgets_dict((budget,))["x"]["sources"][0]["share"] == pytest.approx(
        budget.lines[0].share, abs=1e-6
    )
