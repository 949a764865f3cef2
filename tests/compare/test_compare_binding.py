"""Where a dummy binds when shut, against the closed forms of a four-bar with a closing error."""

from pathlib import Path

import numpy as np
import pytest

from compare.cause.binding import binding_of
from compare.design.study.contact import binding_openings
from compare.design.study.usual_binding import usual_binding
from compare.quantities.measured import measured_of
from compare.tell.words.shut_words import binding_sentence, overhang_sentence
from compare.units import MM
from compare.verdict.findings import compare_profile
from compare.verdict.shut_reach import compare_overhang
from tests.helpers.made_profiles import ONE_SIDED, TWO_SIDED, profile_of, spec_of

A, B, C = 60.0, 40.0, 12.0


def leg_short(e: float) -> float:
    """A leg e too short goes flat on its page (law of cosines in the shut triangle), degrees of opening."""
    psi = 2 * np.arcsin(np.sqrt(e * (A + A + B - e - B) / (4 * B * (A + B - e))))
    return float(np.degrees(2 * np.arctan2(B * np.sin(psi), C + B * np.cos(psi))))


@pytest.mark.parametrize(
    ("change", "opening"),
    # derived for this project (law of cosines); the half plane, leg error in mm
    [(-0.5, 10.8105), (-1.0, 15.3092), (-2.0, 21.7102), (0.5, 8.4318), (1.0, 11.9662), (2.0, 17.0408)],
)
def test_binding_of_a_wrong_leg(tmp_path: Path, change: float, opening: float) -> None:
    mechanism = spec_of(ONE_SIDED, tmp_path).mechanism
    both = spec_of(TWO_SIDED, tmp_path, "both.toml").mechanism
    if change < 0:
        assert leg_short(-change) == pytest.approx(opening, abs=1e-3)
        got = binding_openings(mechanism, {"leg right": np.array([B + change])}, np.pi)
        assert np.degrees(got[0]) == pytest.approx(opening, abs=0.01)
    wrong = {f"leg {s}": np.array([B + change]) for s in ("left", "right")}
    assert np.degrees(binding_openings(both, wrong, np.pi)[0]) == pytest.approx(opening, abs=0.05)


@pytest.mark.parametrize(
    ("name", "error", "opening"),
    [("fold left", 0.5, 14.5911), ("fold left", 2.0, 29.7048), ("foot left", 1.0, 19.6834)],
)
def test_binding_of_an_uneven_fold(tmp_path: Path, name: str, error: float, opening: float) -> None:
    mechanism = spec_of(ONE_SIDED, tmp_path).mechanism
    wrong = {name: np.array([mechanism.lengths[name] + error])}
    assert np.degrees(binding_openings(mechanism, wrong, np.pi)[0]) == pytest.approx(opening, abs=0.01)


def test_samples_are_closed_one_by_one(tmp_path: Path) -> None:
    mechanism = spec_of(TWO_SIDED, tmp_path).mechanism
    rng = np.random.default_rng(3)
    many = {k: v + rng.normal(0, 0.5, 50) for k, v in mechanism.lengths.items()}
    together = binding_openings(mechanism, many, np.pi)
    for i in range(0, 50, 7):
        alone = binding_openings(mechanism, {k: v[i : i + 1] for k, v in many.items()}, np.pi)
        assert together[i] == pytest.approx(alone[0], abs=1e-12)


def test_hand_cut_dummies_bind(tmp_path: Path) -> None:
    # simulated with every length off by sd 0.5 (derivation of this project): median 20.1, 95 % below 31.9
    mechanism = spec_of(TWO_SIDED, tmp_path).mechanism
    rng = np.random.default_rng(10)
    names = [
        k
        for k in mechanism.lengths
        if not k.startswith(("page left", "page right", "plane left", "plane right"))
    ]
    many = {k: mechanism.lengths[k] + rng.normal(0, 0.5, 20_000) for k in names}
    found = np.degrees(binding_openings(mechanism, many, np.pi))
    assert np.median(found) == pytest.approx(20.1, abs=0.4)
    assert np.quantile(found, 0.95) == pytest.approx(31.9, abs=0.6)
    careful = np.degrees(usual_binding(mechanism, np.pi, rng))
    assert 20 < careful < 30  # sd 0.3: smaller by about the root of 0.6


def test_a_measured_dummy_says_when_it_matters(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    good = binding_of(measured_of(profile_of(spec, spine=True), spec), spec)
    bad = binding_of(measured_of(profile_of(spec, {"leg right": -6.0}, spine=True), spec), spec)
    assert good is not None and bad is not None
    assert good.phi_deg == 0 and good.low_deg == 0 and 0 < good.high_deg < good.usual_deg
    assert "shuts" in binding_sentence(good) and not good.matters
    assert bad.low_deg <= bad.phi_deg <= bad.high_deg and bad.matters
    assert bad.gap_mm == pytest.approx(2 * 148.5 * np.sin(np.radians(bad.phi_deg) / 2))
    findings = compare_profile(profile_of(spec, {"leg right": -6.0}, spine=True), spec)
    assert findings.binding == bad  # the same photo always gives the same answer


def test_missing_lengths_leave_it_open(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    assert binding_of(measured_of(profile_of(spec, missing=("leg top left",)), spec), spec) is None
    flat = binding_of(measured_of(profile_of(spec), spec), spec)
    assert flat is not None and flat.assumed == ("foot left", "foot right")


def test_overhang_of_a_closed_photo_beside_the_predicted_one(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    m = measured_of(profile_of(spec, {"plane right": 8.0}, spine=True), spec)
    seen = {"right fore edge": (1.5, 0.2), "left fore edge": (-3.0, 0.2), "head": (-12.0, 0.3)}
    right, left, head = compare_overhang(m, spec, seen)
    assert right.predicted_mm == pytest.approx(12 + 40 + 98 - 148.5)
    assert not right.disagrees and "they agree" in overhang_sentence(right, MM)
    assert left.predicted_mm == pytest.approx(12 + 40 + 90 - 148.5) and left.disagrees
    assert "They differ by 3.5 mm" in overhang_sentence(left, MM)
    assert np.isnan(head.predicted_mm) and not head.disagrees
    assert overhang_sentence(head, MM) == "Shut, card lies 12.0 mm inside the head (closed photo, ± 0.6 mm)."
