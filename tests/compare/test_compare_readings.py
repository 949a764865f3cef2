"""Readings by hand taken in, the chance that a dummy is good, and the reading that would decide most."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from capture.errors import FoldgaugeError
from compare.design.spec.spec import Spec
from compare.quantities.lengths_by_hand import HandReading, reading_of, with_readings
from compare.quantities.measured import measured_of
from compare.quantities.quantity import Inputs, Quantity
from compare.tell.words.answer import answer
from compare.tell.words.doubt_words import betting_words
from compare.tell.words.next_steps import next_steps
from compare.tell.words.verdict_words import remark_words
from compare.verdict.conformity import Verdict, probability_within
from compare.verdict.findings import compare_profile
from compare.verdict.outlook import Demand, Outlook, outlook_of
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of

ROOMY = TWO_SIDED.replace("left = 90", "left = 85").replace("right = 90", "right = 85")


@pytest.fixture
def spec(tmp_path: Path) -> Spec:
    return spec_of(ROOMY, tmp_path)


def test_readings_agree_with_generalised_least_squares(spec: Spec) -> None:
    """Two readings at once by the normal equations over all lengths (Aitken 1935, textbook)."""
    rng = np.random.default_rng(4)
    measured = measured_of(profile_of(spec, noise=0.1, scale=5e-3, rng=rng), spec)
    names = [k for k in measured.lengths if k != "feet"]
    y = np.array([measured.lengths[k].value for k in names])
    c = measured.inputs.covariance([measured.lengths[k] for k in names])
    readings = [HandReading(name="leg left", value_mm=40.2, u_mm=0.1)]
    readings += [HandReading(name="plane spacing right", value_mm=59.9, u_mm=0.2)]
    pick = np.array([[float(k == r.name) for k in names] for r in readings])
    design = np.vstack([np.eye(len(names)), pick])
    noise = np.zeros((len(design),) * 2)
    noise[: len(names), : len(names)] = c
    noise[len(names) :, len(names) :] = np.diag([r.u_mm**2 for r in readings])
    weight = np.linalg.inv(noise)
    cov = np.linalg.inv(design.T @ weight @ design)
    best = cov @ design.T @ weight @ np.concatenate([y, [r.value_mm for r in readings]])
    after = with_readings(measured, spec, readings)
    got = [after.lengths[k] for k in names]
    assert np.array([q.value for q in got]) == pytest.approx(best, abs=1e-6)
    assert after.inputs.covariance(got) == pytest.approx(cov, abs=1e-8)
    whole = sum(after.inputs.by_source.values(), np.zeros_like(after.inputs.cov))
    assert whole == pytest.approx(after.inputs.cov, abs=1e-12)
    lean = measured.lean["left"]  # what was not read gets surer too
    assert after.u(after.lean["left"]) < measured.u(lean)


def test_two_measurements_of_one_length_weigh_by_their_variance(spec: Spec) -> None:
    """The weighted mean of two independent values (textbook; here u = 0.2 and 0.1: weights 1 to 4)."""
    measured = measured_of(profile_of(spec, noise=0.2 / np.sqrt(2)), spec)
    after = with_readings(measured, spec, [HandReading(name="leg left", value_mm=40.5, u_mm=0.1)])
    q = after.lengths["leg left"]
    assert q.value == pytest.approx((40.0 * 1 + 40.5 * 4) / 5, abs=1e-9)
    assert after.u(q) == pytest.approx(1 / np.sqrt(1 / 0.2**2 + 1 / 0.1**2), rel=1e-9)


def test_one_foot_read_tells_the_other(spec: Spec) -> None:
    profile = profile_of(spec, {"foot left": 1.5})
    findings = compare_profile(profile, spec, readings=[reading_of("foot left = 13.5 +- 0.2", spec)])
    assert findings.measured.lengths["foot right"].value == pytest.approx(12, abs=0.05)
    assert not {"foot left", "foot right"} & set(findings.measured.assumed)
    left = next(i for i in findings.lengths if i.name == "foot left")
    assert left.verdict is Verdict.FAILS and "read by hand: 13.50 ± 0.20 mm" in remark_words(left)
    assert any(i.name.startswith("foot + fold") for i in findings.pairs)


def test_an_unseen_length_is_known_once_it_is_read(spec: Spec) -> None:
    profile = profile_of(spec, missing=("plane edge right",))
    assert compare_profile(profile, spec).verdict is Verdict.OPEN
    findings = compare_profile(profile, spec, readings=[reading_of("plane right=85.1", spec)])
    assert findings.verdict is Verdict.CONFORMS and "plane right" not in findings.undetermined


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("leg left", "is wanted"),
        ("leg middle=40", "has no length 'leg middle'"),
        ("leg left=40,5", "decimal point"),
        ("leg left=40 +- 0", "decimal point"),
        ("leg left=nan", "decimal point"),
        ("leg left=46", "contradicts the photo"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(spec: Spec, text: str, words: str) -> None:
    with pytest.raises(FoldgaugeError, match=words):
        compare_profile(profile_of(spec), spec, readings=[reading_of(text, spec)])


def test_readings_in_the_units_of_the_spec(tmp_path: Path) -> None:
    inches = "units = 'in'\n[base]\npage = 5.8\n[fold]\nleft = 1.6\nright = 1.6\n"
    inches += "foot_left = 0.5\nfoot_right = 0.5\n"
    inches += "[right]\nleg = 1.6\npage_spacing = 2.4\nplane_spacing = 2.4\n[plane]\nright = 3\n"
    reading = reading_of("leg right = 1 9/16 +- 1/64", spec_of(inches, tmp_path))
    assert reading.value_mm == pytest.approx(1.5625 * 25.4)
    assert reading.u_mm == pytest.approx(25.4 / 128)


def test_the_chance_of_all_agrees_with_the_normal_distribution(spec: Spec) -> None:
    """Three correlated demands against SciPy's multivariate normal; one alone against JCGM 106, 7.2."""
    c = np.array([[0.04, 0.03, 0.0], [0.03, 0.09, -0.02], [0.0, -0.02, 0.05]])
    measured = measured_of(profile_of(spec), spec)
    n = len(measured.inputs.cov)
    big = np.zeros((n, n))
    big[:3, :3] = c
    made = replace(measured, inputs=Inputs(big, {"all": big}), lengths={}, working={})
    quantities = [Quantity(v, np.eye(n)[i]) for i, v in enumerate((0.1, -0.3, 0.2))]
    demands = [Demand(q, -0.5, 0.5) for q in quantities]
    want = multivariate_normal([0.1, -0.3, 0.2], c).cdf([0.5] * 3, lower_limit=[-0.5] * 3)
    assert outlook_of(made, spec, demands).good == pytest.approx(want, abs=0.012)
    alone = outlook_of(made, spec, demands[1:2]).good
    assert alone == pytest.approx(probability_within(-0.3, 0.3, -0.5, 0.5), abs=0.012)
    assert probability_within(-0.3, 0.3, -0.5, 0.5) == pytest.approx(
        norm.cdf(0.5, -0.3, 0.3) - norm.cdf(-0.5, -0.3, 0.3)
    )


def test_the_length_in_doubt_is_the_one_to_read_and_reading_it_decides(spec: Spec) -> None:
    findings = compare_profile(profile_of(spec, {"leg left": -0.75}, noise=0.12), spec)
    assert findings.verdict is Verdict.OPEN
    outlook = findings.outlook
    assert outlook is not None and outlook.reading is not None
    assert outlook.reading.name == "leg left" and 0.1 < outlook.reading.settles <= 1
    assert betting_words(outlook) in answer(findings) and "measuring" in answer(findings)
    assert '--reading "leg left=..."' in " ".join(next_steps(findings))
    good = [HandReading(name="leg left", value_mm=39.7, u_mm=0.1)]
    after = compare_profile(profile_of(spec, {"leg left": -0.75}, noise=0.12), spec, readings=good)
    assert after.verdict is Verdict.CONFORMS
    assert after.outlook is not None and after.outlook.good > 0.98 > outlook.good


def test_the_chance_can_be_bet_on(spec: Spec) -> None:
    """Hand-cut dummies without a fault (sd 0.3 mm): of those told p, about p are good."""
    rng = np.random.default_rng(9)
    told, right = [], []
    for _ in range(14):
        true = {k: float(rng.normal(0, 0.3)) for k in spec.lengths()}
        seen = compare_profile(profile_of(spec, true, noise=0.1, rng=rng), spec)
        if seen.outlook is None or seen.diagnosis.named:
            continue
        exact = compare_profile(profile_of(spec, true, noise=1e-5), spec)
        told.append(seen.outlook.good)
        right.append(all(i.low <= i.deviation <= i.high for i in exact.items))
    assert len(told) > 8
    spread = float(np.sqrt(np.sum(np.array(told) * (1 - np.array(told))))) / len(told)
    assert np.mean(told) == pytest.approx(np.mean(right), abs=2.5 * spread)


def test_words_of_a_bet() -> None:
    assert betting_words(Outlook(good=0.94, reading=None)) == "probably good (94 %)"
    assert betting_words(Outlook(good=0.5, reading=None)) == "good with a chance of 50 %"
    assert betting_words(Outlook(good=0.03, reading=None)) == "probably not good (3 % that it is)"
