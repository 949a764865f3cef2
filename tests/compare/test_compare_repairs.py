"""Repairs that hold: judged by all rules, in steps a hand can make, as they are told."""

from pathlib import Path

import numpy as np
import pytest

from compare.cause.faults import faults_of
from compare.cure.dummy_as_known import dummy_of
from compare.cure.plans import WORK_SD
from compare.cure.remedies import NUMBERS
from compare.design.craft.move import MoveKind
from compare.design.study.contact import binding_openings
from compare.design.study.usual_binding import usual_of
from compare.tell.words.cautions import GLUE, repair_cautions
from compare.tell.words.repair_words import remedy_text
from compare.verdict.conformity import Verdict
from compare.verdict.findings import Findings, compare_profile
from compare.verdict.matched_pairs import matches_of
from tests.benchmarks.bench_repairs import kept, mended
from tests.helpers.made_profiles import ONE_SIDED, TWO_SIDED, profile_of, spec_of

NARROW = TWO_SIDED.replace("left = 90", "left = 85").replace("right = 90", "right = 85")


def found(text: str, changes: dict[str, float], folder: Path, *, spine: bool = False) -> Findings:
    spec = spec_of(text, folder)
    return compare_profile(profile_of(spec, changes, spine=spine), spec)


def after(findings: Findings, changes: dict[str, float]) -> dict[str, float]:
    """The true lengths when the first repair is done on them."""
    true = findings.spec.lengths()
    for k, v in changes.items():
        true[k] += v
    return findings.remedies[0].applied(true)


@pytest.mark.parametrize("size", [-2.5, 2.5])
def test_a_foot_off_its_place_is_not_left_there(tmp_path: Path, size: float) -> None:
    """Level as it stands, but both sides of the fold no longer reach one ridge: it binds at 30 degrees."""
    changes = {"foot left": size}
    findings = found(NARROW, changes, tmp_path, spine=True)
    assert all(n.item.verdict is Verdict.CONFORMS for n in findings.leans)
    first = findings.remedies[0]
    assert first.moves and all(r.moves for r in findings.remedies)
    assert all(kept(findings.spec, after(findings, changes)).values())
    assert GLUE in repair_cautions(findings.remedies)


@pytest.mark.parametrize("side", ["left", "right"])
def test_with_the_spine_unseen_both_feet_are_measured_and_spacings_stay(tmp_path: Path, side: str) -> None:
    changes = {f"foot {side}": 2.5}  # the whole side, its outer foot too
    findings = found(NARROW, changes, tmp_path)
    first = findings.remedies[0]
    assert [m.kind for m in first.moves] == [MoveKind.FEET_MEASURED]
    assert "each outer one as far from it as now" in remedy_text(first)
    done = after(findings, changes)
    assert done["foot left"] == done["foot right"] == 12 and done[f"page spacing {side}"] == 60
    assert all(kept(findings.spec, done).values())


def test_leaving_it_has_a_computed_chance(tmp_path: Path) -> None:
    """A plane that is too narrow only: whether to leave it depends on the room at the fore edge."""
    chances = []
    for page in (148.5, 130.0):  # shut, the legs reach 112 and the plane's edge 137 less 3
        text = NARROW.replace("page = 148.5", f"page = {page}").replace("left = 85", "left = 75")
        findings = found(text.replace("right = 85", "right = 76.5"), {"plane left": -3.0}, tmp_path)
        left = next((r for r in findings.remedies if not r.moves or r.effort == 0), None)
        chances.append(0.0 if left is None else left.probability)
    assert 0.5 < chances[0] < 1.0
    assert chances[1] < chances[0]


def test_a_chance_agrees_with_drawn_dummies(tmp_path: Path) -> None:
    """The plan on dummies drawn one by one, each solved exactly, against the share told."""
    findings = found(NARROW, {"leg right": -2.0, "fold left": 0.5, "page spacing left": -0.4}, tmp_path)
    spec, plan = findings.spec, findings.remedies[0]
    dummy = dummy_of(findings.measured, spec, {}, findings.causes, {})
    rng = np.random.default_rng(3)
    drawn = rng.multivariate_normal(dummy.values, dummy.cov, 400)
    n = {k: drawn[:, i] for i, k in enumerate(dummy.names)}
    n |= {k: np.full(400, v) for k, v in plan.sets_mm.items()}
    for k in {*plan.sets_mm, *plan.changes_mm}:
        n[k] = n[k] + plan.changes_mm.get(k, 0.0) + rng.normal(0, WORK_SD, 400)
    allowed, m = spec.tolerance, spec.mechanism
    good = np.degrees(binding_openings(m, n, np.pi)) <= np.degrees(usual_of(m, np.pi))
    for lean in m.solve(n, np.pi).lean.values():
        good &= np.abs(np.degrees(lean)) <= allowed.level_deg
    for match in matches_of(m):
        error = sum(n[k] * c for k, c in match.terms.items())
        good &= np.abs(error) <= allowed.matched * len(match.terms) / 2
    for side in ("left", "right"):
        reach = np.max([r.total(n) for r in m.reaches if r.side == side], axis=0)
        good &= n[f"page {side}"] - reach >= allowed.clearance
    assert plan.probability == pytest.approx(float(np.mean(good)), abs=0.06)


def test_no_step_is_smaller_than_a_hand_can_make(tmp_path: Path) -> None:
    small = {"leg right": -0.55, "fold right": 0.5, "page spacing right": 0.6, "plane spacing right": -0.6}
    coarse = NARROW + "hand = 0.9\n"
    for text, least in ((NARROW, 0.3), (coarse, 0.9)):
        findings = found(text, small, tmp_path)
        assert findings.verdict is Verdict.FAILS and findings.remedies
        for plan in findings.remedies:
            assert len(plan.moves) <= NUMBERS.steps
            assert all(abs(m.by_mm) >= least for m in plan.moves if not m.sets_mm or m.by_mm)


@pytest.mark.parametrize(("text", "spine"), [(NARROW, True), (NARROW, False), (ONE_SIDED, False)])
def test_first_repairs_hold_on_the_true_lengths(tmp_path: Path, text: str, spine: bool) -> None:
    """A small version of `bench_repairs.py`, every fault of the catalogue once."""
    spec = spec_of(text, tmp_path)
    names = compare_profile(profile_of(spec, spine=spine), spec).measured.working
    faults = [f for f in faults_of(spec, spine_seen=spine) if set(f.pattern) <= set(names)]
    rng = np.random.default_rng(12)
    rows = [mended(spec, f, 0.05, spine, rng) for f in faults]
    headed = sum(r["headed"] for r in rows)
    assert headed >= 0.95 * sum(r["fails"] for r in rows) and headed > 8
    assert sum(r["all"] for r in rows) >= 0.95 * headed


def test_a_plan_less_likely_than_even_is_never_told_first(tmp_path: Path) -> None:
    """Much is wrong and little is known: something is built anew, or nothing is told."""
    rng = np.random.default_rng(2)
    for _ in range(6):
        changes = {k: float(rng.normal(0, 2.0)) for k in spec_of(NARROW, tmp_path).lengths()}
        spec = spec_of(NARROW, tmp_path)
        findings = compare_profile(profile_of(spec, changes, noise=0.4, rng=rng), spec)
        if findings.remedies:
            assert findings.remedies[0].probability >= NUMBERS.even
