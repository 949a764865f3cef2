"""The right culprit, in the first line, for every fault; and nobody accused in a good dummy."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from compare.cause.causes import (
    FAULT_SD,
    cutting_covariance,
    evidence,
    observed_pattern,
    weigh,
)
from compare.cause.faults import faults_of
from compare.quantities.common_scale import common_scale
from compare.tell.words.answer import also, answer
from compare.tell.words.repair_words import remedy_text, side_effects
from compare.units import MM
from compare.verdict.conformity import Verdict
from compare.verdict.findings import compare_profile
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of

FEET = ("foot left", "foot right")
CREASE = {"plane spacing left": -2.5, "plane spacing right": 2.5, "plane left": -2.5, "plane right": 2.5}
CASES: list[tuple[str, str, Mapping[str, float], str]] = [
    (
        "short leg",
        TWO_SIDED,
        {"leg right": -1.9},
        "The right half leans 1.9 degrees: leg right is 1.9 mm short.",
    ),
    (
        "long leg",
        TWO_SIDED,
        {"leg left": 2.5},
        "The left half leans 2.5 degrees: leg left is 2.5 mm too long.",
    ),
    (
        "outer foot",
        TWO_SIDED,
        {"page spacing right": 2.0},
        "outer foot right is glued 2.0 mm too far out",
    ),
    (
        "inner foot",
        TWO_SIDED,
        {"foot right": 2.0, "page spacing right": -2.0},
        "inner foot right stands 2.0 mm",
    ),
    ("feet", TWO_SIDED, {"foot left": 2.4}, "the inner feet stand 2.4 mm too far apart"),
    (
        "plane spacing",
        TWO_SIDED,
        {"plane spacing left": -2.2},
        "leg left is glued 2.2 mm too far in under",
    ),
    ("crease", TWO_SIDED, CREASE, "the plane's crease is glued 2.5 mm right of the ridge"),
    (
        "crease, edges trimmed square",
        TWO_SIDED,
        {"plane spacing left": 2.5, "plane spacing right": -2.5},
        "the plane's crease is glued 2.5 mm left of the ridge",
    ),
    (
        "crease, legs glued where they stand",
        TWO_SIDED,
        {"plane left": -3.0, "plane right": 3.0},
        "the plane's crease is glued 3.0 mm right of the ridge",
    ),
    ("fold side", TWO_SIDED, {"fold right": -2.0}, "fold right is 2.0 mm short"),
    ("ridge score", TWO_SIDED, {"fold left": 1.5, "fold right": -1.5}, "scored 1.5 mm too far right"),
    (
        "oversize",
        TWO_SIDED,
        {"plane right": 8.0},
        "past the right fore edge: plane right is 8.0 mm too wide",
    ),
    (
        "one-sided",
        ONE_SIDED,
        {"leg right": -2.0},
        "The right half leans 2.0 degrees: leg right is 2.0 mm short.",
    ),
    ("asymmetric", ASYMMETRIC, {"leg left": -2.0}, "leg left is 2.0 mm short"),
]


@pytest.mark.parametrize(("name", "text", "faults", "words"), CASES, ids=[c[0] for c in CASES])
def test_culprit_in_the_first_line(
    tmp_path: Path, name: str, text: str, faults: Mapping[str, float], words: str
) -> None:
    spec = spec_of(text, tmp_path)
    findings = compare_profile(profile_of(spec, faults), spec)
    assert findings.verdict is Verdict.FAILS
    assert words in answer(findings)
    assert "\n" not in answer(findings)


@pytest.mark.parametrize("text", [TWO_SIDED, ONE_SIDED, ASYMMETRIC])
@pytest.mark.parametrize("spine", [False, True])
def test_a_good_dummy_is_called_good(tmp_path: Path, text: str, spine: bool) -> None:
    spec = spec_of(text, tmp_path)
    findings = compare_profile(profile_of(spec, {"leg right": 0.15, "fold left": -0.1}, spine=spine), spec)
    assert findings.verdict is Verdict.CONFORMS
    assert answer(findings).startswith("Conforms: level within 0.")
    assert findings.causes == () and findings.remedies == () and also(findings) == ()


def test_misplaced_fold_with_the_spine_seen(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    moved = {"foot right": 2.0, "foot left": -2.0, "page spacing right": -2.0, "page spacing left": 2.0}
    findings = compare_profile(profile_of(spec, moved, spine=True), spec)
    assert "the parallel fold is glued 2.0 mm too far right" in answer(findings)


def test_too_close_to_call(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"leg right": -0.75}), spec)
    assert findings.verdict is Verdict.OPEN
    assert answer(findings).startswith("Too close to call: ")


def test_two_faults_are_both_named(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"leg right": -2.0, "plane left": 8.0}), spec)
    said = answer(findings) + " ".join(also(findings))
    assert "leg right is 2.0 mm short" in answer(findings)
    assert "lane left is 8.0 mm too wide" in said and "past the left fore edge" in said


def test_many_small_errors_are_nobodys_fault(tmp_path: Path) -> None:
    """Five lengths off by 0.5-0.6 mm, all tilting the same way: no single fault is invented."""
    spec = spec_of(TWO_SIDED, tmp_path)
    small = {"leg right": -0.55, "fold right": 0.5, "page spacing right": 0.6, "plane spacing right": -0.6}
    findings = compare_profile(profile_of(spec, small), spec)
    assert findings.leans[1].item.verdict is Verdict.FAILS
    assert "small errors add up; the largest share is" in answer(findings)


def test_a_scale_error_accuses_no_strip(tmp_path: Path) -> None:
    """Everything 2 % too large with a print scale doubtful by 1 %: shared errors blame nobody."""
    spec = spec_of(TWO_SIDED, tmp_path)
    grown = {k: 0.02 * v for k, v in spec.lengths().items()}
    findings = compare_profile(profile_of(spec, grown, scale=1e-2), spec)
    assert findings.diagnosis.named == () and findings.diagnosis.probability_none > 0.8
    # the same lengths, with the scale taken for exact, would look like faults
    assert compare_profile(profile_of(spec, grown), spec).diagnosis.probability_none < 0.01


@pytest.mark.parametrize("factor", [0.9, 0.97, 1.03, 1.1])
def test_a_wrong_set_up_is_told_from_a_wrong_dummy(tmp_path: Path, factor: float) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    rng = np.random.default_rng(6)
    changes = {k: (factor - 1) * v + rng.normal(0, 0.3) for k, v in spec.lengths().items()}
    common = common_scale(
        compare_profile(profile_of(spec, changes, scale=3e-3, rng=rng), spec).measured, spec
    )
    assert common is not None
    assert common.off == pytest.approx(factor - 1, abs=0.005)
    changes["leg right"] -= 3.0  # a real fault does not hide it
    common = common_scale(
        compare_profile(profile_of(spec, changes, scale=3e-3, rng=rng), spec).measured, spec
    )
    assert common is not None and common.off == pytest.approx(factor - 1, abs=0.006)


def test_no_dummy_with_a_fault_is_taken_for_a_wrong_set_up(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    rng = np.random.default_rng(7)
    for fault in faults_of(spec, spine_seen=False):
        for size in (0.0, -4.0, 2.0, 4.0):
            changes = {k: size * fault.pattern.get(k, 0.0) + rng.normal(0, 0.3) for k in spec.lengths()}
            measured = compare_profile(profile_of(spec, changes, scale=3e-3, rng=rng), spec).measured
            assert common_scale(measured, spec) is None, (fault.name, size)
    for _ in range(200):  # two faults at once
        pair = rng.choice(list(spec.lengths()), 2, replace=False)
        changes = {
            k: rng.normal(0, 0.3) + (rng.choice([-3.0, 3.0]) if k in pair else 0) for k in spec.lengths()
        }
        measured = compare_profile(profile_of(spec, changes, scale=3e-3, rng=rng), spec).measured
        assert common_scale(measured, spec) is None, pair


def test_missing_half_is_not_called_good(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, missing=("leg top left", "outer foot left")), spec)
    assert findings.verdict is Verdict.OPEN
    assert "the left half of the plane was not seen" in answer(findings)
    assert "lean left" in findings.undetermined and "leg left" in findings.undetermined


def test_an_unseen_edge_is_not_called_good(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, missing=("plane edge right",)), spec)
    assert findings.verdict is Verdict.OPEN
    said = (
        "Too close to call: nothing fails, but plane right could not be measured; a steel rule would decide."
    )
    assert answer(findings) == said


def test_remedies_are_solved_again(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"leg right": -1.9}), spec)
    new_leg, lower = findings.remedies
    assert "Make a new strip for leg right, 40.0 mm" in remedy_text(new_leg, MM) and new_leg.cuts
    for r in (new_leg, lower):
        assert r.lean_after_deg["right"] == pytest.approx(0, abs=0.01)
        assert r.closing_after_mm["right"] == pytest.approx(0, abs=0.01)
    findings = compare_profile(profile_of(spec, {"page spacing left": 2.0}), spec)
    move, instead = findings.remedies
    assert "glue it 2.0 mm farther in" in remedy_text(move, MM) and not move.cuts
    assert "off the plane and glue it 2.0 mm farther from the ridge" in remedy_text(instead, MM)
    assert side_effects(instead, MM) == (
        "plane spacing left stays 2.0 mm off the design, matched with its partner",
    )
    findings = compare_profile(profile_of(spec, CREASE), spec)
    assert "Re-glue the plane 2.5 mm farther left" in remedy_text(findings.remedies[0], MM)
    assert findings.remedies[0].lean_after_deg["left"] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("spine", [False, True])
def test_every_fault_is_found_and_has_a_remedy(tmp_path: Path, spine: bool) -> None:
    """Each fault of the catalogue, +-3 mm: named (or one that looks the same), and cured by its remedy."""
    spec = spec_of(TWO_SIDED.replace("left = 90", "left = 75").replace("right = 90", "right = 75"), tmp_path)
    names = compare_profile(profile_of(spec, spine=spine), spec).measured.lengths
    faults = faults_of(spec, spine_seen=spine)
    for fault in faults:
        for size in (-3.0, 3.0):
            changes = {k: size * c for k, c in fault.pattern.items()}
            findings = compare_profile(profile_of(spec, changes, spine=spine), spec)
            shown = observed_pattern(fault, list(names), FEET)
            if not np.any(shown):
                continue  # a page whose fore edge is not seen
            named = findings.diagnosis.named
            assert len(named) == 1
            got = observed_pattern(named[0].fault, list(names), FEET) * np.sign(named[0].size_mm)
            same = np.array_equal(got, shown * np.sign(size)) or named[0].fault.name == fault.name
            assert same, (fault.name, size, named[0].fault.name)
            assert findings.remedies
            for side, lean in findings.remedies[0].lean_after_deg.items():
                assert lean == pytest.approx(0, abs=0.02), (fault.name, size, side)


def test_evidence_is_a_density() -> None:
    """Against the textbook density of a normal vector, for one hypothesis."""
    rng = np.random.default_rng(4)
    a = rng.normal(size=(3, 3))
    s = a @ a.T + np.eye(3)
    p, d = np.array([1.0, -1.0, 0.0]), rng.normal(size=3)
    total = s + FAULT_SD**2 * np.outer(p, p)
    expected = -0.5 * d @ np.linalg.inv(total) @ d - 0.5 * np.log(np.linalg.det(2 * np.pi * total))
    assert evidence(d[None], total[None])[0, 0] == pytest.approx(expected, rel=1e-12)


def test_weighing_is_calibrated(tmp_path: Path) -> None:
    """Draw hypothesis and size from the priors: among cases given probability p, about p are right."""
    spec = spec_of(TWO_SIDED, tmp_path)
    m = compare_profile(profile_of(spec), spec).measured
    names = list(m.lengths)
    s = m.inputs.covariance([m.lengths[k] for k in names]) + cutting_covariance(names)
    faults = [f for f in faults_of(spec, spine_seen=False) if f.name.startswith(("leg", "fold ", "plane"))]
    patterns = [observed_pattern(f, names, FEET) for f in faults]
    rng = np.random.default_rng(8)
    n = 4000
    which = rng.integers(0, len(patterns), n)
    d = rng.multivariate_normal(np.zeros(len(names)), s, n)
    d += np.array(patterns)[which] * rng.normal(0, FAULT_SD, n)[:, None]
    w = weigh(d, s, patterns, [1.0] * len(patterns))
    single = w.probability[:, 1 : 1 + len(patterns)]
    single = single / single.sum(axis=1, keepdims=True)  # given that it is one fault, as drawn
    top = single.argmax(axis=1)
    claimed, right = single.max(axis=1), top == which
    for low, high in ((0.1, 0.5), (0.5, 0.9), (0.9, 1.01)):
        here = (claimed >= low) & (claimed < high)
        assert np.mean(right[here]) == pytest.approx(np.mean(claimed[here]), abs=0.06)


def test_three_faults_are_all_named(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    faults = {"leg right": -2.0, "page spacing left": 3.0, "plane left": 7.0}
    findings = compare_profile(profile_of(spec, faults), spec)
    assert {c.fault.name for c in findings.diagnosis.named} == set(faults)


def test_both_fore_edges_in_one_clause(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"plane right": 9.0, "plane left": 10.0}), spec)
    assert answer(findings).startswith(
        "Shut, card sticks out 3.5 mm past the left fore edge and 2.5 mm past the right one: plane left is "
    )


def test_only_what_reaches_farther_explains_an_overhang(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"page spacing right": -2.5, "plane right": 8.0}), spec)
    assert answer(findings).endswith("past the right fore edge: plane right is 8.0 mm too wide.")
    assert "Outer foot right is glued 2.5 mm too far in." in also(findings)
