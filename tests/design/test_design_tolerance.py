"""Scatter of designs: Monte Carlo against first order, GUM and JCGM 101, and the project's own figures."""

from pathlib import Path

import numpy as np
import pytest

from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.design.study.tolerance import draws, results_of, spreads_of, study
from tests.helpers.made_profiles import TWO_SIDED, spec_of

SAMPLES = Path(__file__).parents[2] / "sample_images"
SIXTY = TWO_SIDED  # A 60, B 40, c 12


def spread(folder: Path, more: str = "") -> Spec:
    return spec_of(SIXTY + more, folder)


def leans(spec: Spec, deg: float, count: int, sd: float = 0.5) -> np.ndarray:
    rng = np.random.default_rng(3)
    rows = [
        results_of(spec, lengths, float(np.radians(deg)))["lean right"]
        for lengths in draws(spec.mechanism, spreads_of(spec, sd), count, rng)
    ]
    return np.concatenate(rows)


@pytest.mark.parametrize(("deg", "sd", "within"), [(180, 0.7417, 0.8234), (90, 0.9175, 0.7257)])
def test_monte_carlo_as_derived(tmp_path: Path, deg: float, sd: float, within: float) -> None:
    """Figures of the derivation, 10^6 samples there; here 2e5, so three standard errors are 0.003."""
    lean = leans(spread(tmp_path), deg, 200_000)
    assert np.std(lean) == pytest.approx(sd, abs=0.004)
    assert np.mean(np.abs(lean) <= 1) == pytest.approx(within, abs=0.003)


def test_first_order_is_the_law_of_propagation(tmp_path: Path) -> None:
    """u^2 = sum (c_i u_i)^2 (JCGM 100:2008, 5.1.2); sd = sigma sqrt(2 + 2 cos^2 psi) / (A sin psi)."""
    spec = spread(tmp_path)
    found = study(spec, 0.5, np.random.default_rng(5), samples=50_000)
    lean = next(r for r in found.results if r.name == "lean right")
    cos = -12 / 40
    formula = np.degrees(0.5 * np.sqrt(2 + 2 * cos**2) / (60 * np.sqrt(1 - cos**2)))
    assert lean.sd_linear == pytest.approx(formula, rel=1e-6) == pytest.approx(0.7390, abs=6e-5)
    assert lean.sd == pytest.approx(lean.sd_linear, rel=0.02)
    assert sum(s.share for s in lean.shares) == pytest.approx(1.0)
    assert {s.length for s in lean.shares[:2]} == {"leg right", "fold right"}
    assert lean.shares[0].share == pytest.approx(1 / (2 + 2 * cos**2), rel=1e-3)
    assert abs(lean.shares[0].rate) == pytest.approx(1.0010, abs=6e-5)  # degrees per mm


def test_sum_of_four_normals(tmp_path: Path) -> None:
    """JCGM 101:2008, 9.2.2: Y = X1 + X2 + X3 + X4, each N(0, 1): u = 2.0, 95 % within +-3.92.

    A closing sum is such a sum, of four lengths with standard deviation 1 (signs do not matter).
    """
    spec = spread(tmp_path, "\n")
    rng = np.random.default_rng(8)
    total = np.concatenate(
        [
            results_of(spec, lengths, np.pi)["closing right"]
            for lengths in draws(spec.mechanism, spreads_of(spec, 1.0), 300_000, rng)
        ]
    )
    assert np.std(total) == pytest.approx(2.0, abs=0.01)
    low, high = np.quantile(total, [0.025, 0.975])
    assert (low, high) == pytest.approx((-3.92, 3.92), abs=0.03)


def test_contact_of_scattered_dummies(tmp_path: Path) -> None:
    """Whole dummy, sigma 0.5: first contact median 20.1 degrees, 95 % by 31.9 (the derivation's figures)."""
    found = study(spread(tmp_path), 0.5, np.random.default_rng(9), samples=2000)
    assert found.contact[0] == pytest.approx(20.1, abs=0.6)
    assert found.contact[1] == pytest.approx(31.9, abs=1.0)


def test_how_tight_for_99_percent(tmp_path: Path) -> None:
    spec = spread(tmp_path)
    found = study(spec, 0.5, np.random.default_rng(2), samples=100_000)
    assert found.conform <= found.level < 0.99 and 0.2 < found.tighten < 1
    again = study(spec, 0.5 * found.tighten, np.random.default_rng(12), samples=100_000)
    assert again.conform == pytest.approx(0.99, abs=0.003)


def test_spreads_of_the_spec_go_first(tmp_path: Path) -> None:
    spec = spread(tmp_path, 'spread = 0.4\n[tolerance.spreads]\n"leg right" = 0.05\n')
    spreads = spreads_of(spec, 0.3)
    assert spreads["leg right"] == 0.05 and spreads["leg left"] == 0.4
    found = study(spec, 0.3, np.random.default_rng(1), samples=5000)
    lean = next(r for r in found.results if r.name == "lean right")
    assert lean.shares[0].length == "fold right" and lean.shares[0].share > 0.8


def test_room_when_shut_counts(tmp_path: Path) -> None:
    """Clearance 1.0 asked for, 1.2 designed, sd of the chain 0.6: far from all are clear."""
    text = SIXTY.replace("page = 148.5", "page = 143.2")
    spec = spec_of(text, tmp_path)
    found = study(spec, 0.3, np.random.default_rng(4), samples=50_000)
    clear = next(r for r in found.results if r.name == "clearance right")
    assert clear.nominal == pytest.approx(1.2) and clear.sd == pytest.approx(0.6, rel=0.02)
    # P(N(1.2, 0.6) >= 1.0) = Phi(1/3) = 0.6306, any table of the normal distribution
    assert clear.within == pytest.approx(0.6306, abs=0.008)
    assert found.conform < found.level


@pytest.mark.parametrize(
    "name", ["vfold", "pillar", "tab_support", "many_legs", "stages", "flaps", "scissors"]
)
def test_every_construction_can_be_studied(name: str) -> None:
    spec = load_spec(SAMPLES / f"{name}.toml")
    found = study(spec, 0.2, np.random.default_rng(6), samples=400)
    for r in found.results:
        if r.name.startswith("lean") and r.sd_linear > 0:
            assert r.sd == pytest.approx(r.sd_linear, rel=0.25), r.name
    assert 0 <= found.conform <= found.level <= 1
