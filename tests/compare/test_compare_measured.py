"""From a profile to named lengths: right values, honest uncertainties, and nothing guessed."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from compare.cause.lean import leaning
from compare.cause.linkage_lean import through_linkage
from compare.quantities.measured import measured_of, nominal_lengths
from compare.tell.words.reason_words import reason_words
from compare.tell.words.verdict_words import remark_words
from compare.verdict.matched_pairs import compare_pairs
from compare.verdict.shut_reach import compare_clearance
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of


def test_lengths_of_an_exact_profile(tmp_path: Path) -> None:
    spec = spec_of(ASYMMETRIC, tmp_path)
    faults = {"leg left": 1.0, "foot right": -0.7, "plane spacing right": 2.0, "plane left": 0.4}
    m = measured_of(profile_of(spec, faults, spine=True), spec)
    for name, nominal in spec.lengths().items():
        assert m.lengths[name].value == pytest.approx(nominal + faults.get(name, 0.0), abs=1e-9)
    assert m.undetermined == {} and m.assumed == {}
    assert np.degrees(m.opening.value) == pytest.approx(180)


def test_flat_base_hides_the_spine(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    m = measured_of(profile_of(spec, {"foot left": 1.5}), spec)
    assert m.lengths["feet"].value == pytest.approx(25.5)
    assert "foot left" not in m.lengths and "unmarked base" in reason_words(m.undetermined["foot left"])
    assert "page right" in m.undetermined
    assert m.working["foot left"].value == pytest.approx(12.75)  # shared out as designed, and said so
    assert "shared out" in reason_words(m.assumed["foot left"])
    assert m.u(m.working["foot left"]) > 0.5


def test_pages_meet_when_propped_open(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED.replace("depth = 210", "opening = 120"), tmp_path)
    m = measured_of(profile_of(spec, {"foot right": 0.6}, spine=True, opening_deg=123.0), spec)
    assert m.lengths["foot right"].value == pytest.approx(12.6)
    assert "feet" not in m.lengths
    assert np.degrees(m.angles["opening"].value) == pytest.approx(123.0)


def test_bowed_card_is_longer_than_its_chord(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    bowed = replace(profile_of(spec), extra_arc_mm={"plane right": 0.9, "leg left": 0.4})
    m = measured_of(bowed, spec)
    assert m.lengths["plane spacing right"].value == pytest.approx(60 + 0.9 * 60 / 90)
    assert m.lengths["plane right"].value == pytest.approx(90.9)
    assert m.lengths["leg left"].value == pytest.approx(40.4)
    n = leaning(m, spec, "left")
    assert n is not None
    assert n.item.measured == pytest.approx(0, abs=1e-6)
    assert n.remainder_deg == pytest.approx(-0.40, abs=0.01)  # the lengths promise a lean the bow took away


@pytest.mark.parametrize("spine", [False, True])
@pytest.mark.parametrize("text", [TWO_SIDED, ONE_SIDED, ASYMMETRIC])
def test_lean_from_lengths_is_the_lean_measured(tmp_path: Path, text: str, spine: bool) -> None:
    spec = spec_of(text, tmp_path)
    m = measured_of(profile_of(spec, {"leg right": -1.3, "fold left": 0.8}, spine=spine), spec)
    for side in [h.name for h in spec.mechanism.halves]:
        solved = through_linkage(m, spec, side)
        assert solved is not None
        assert np.degrees(solved.value) == pytest.approx(np.degrees(m.lean[side].value), abs=1e-7)
        n = leaning(m, spec, side)
        assert n is not None and not n.remainder_matters


def test_uncertainties_equal_the_scatter(tmp_path: Path) -> None:
    """The predicted u of lengths, pairs, leans and clearances against 1500 disturbed profiles."""
    spec = spec_of(TWO_SIDED, tmp_path)
    rng = np.random.default_rng(3)
    rows, claimed = [], []
    for _ in range(1500):
        m = measured_of(profile_of(spec, {"leg right": -1.0}, scale=2e-3, rng=rng), spec)
        pairs, _ = compare_pairs(m, spec)
        quantities = [m.lengths[k] for k in ("feet", "fold left", "page spacing right", "leg right")]
        values = (
            [q.value for q in quantities] + [np.degrees(m.lean["right"].value)] + [p.measured for p in pairs]
        )
        u = [m.u(q) for q in quantities] + [np.degrees(m.u(m.lean["right"]))] + [p.u for p in pairs]
        rows.append(values)
        claimed.append(u)
    ratio = np.mean(claimed, axis=0) / np.std(rows, axis=0, ddof=1)
    assert np.all(
        (ratio > 0.92) & (ratio < 1.08)
    )  # 1500 draws fix a scatter to 1.8 %, the worst of 13 to 5 %


def test_scale_cancels_in_pairs_but_not_in_lengths(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    m = measured_of(profile_of(spec, noise=0.001, scale=3e-3), spec)
    pair = next(p for p in compare_pairs(m, spec)[0] if p.name == "leg = fold right")
    assert m.u(m.lengths["leg right"]) == pytest.approx(0.12, rel=0.02)
    assert pair.u < 0.003


def test_pairs_follow_the_design(tmp_path: Path) -> None:
    """A plane that is oblique on purpose: the pair's own difference is the nominal one."""
    text = ONE_SIDED.replace("leg = 40", "leg = 48").replace("page_spacing = 60", "page_spacing = 55")
    spec = spec_of(text.replace("plane_spacing = 60", "plane_spacing = 63"), tmp_path)
    m = measured_of(profile_of(spec), spec)
    pairs = {p.name: p for p in compare_pairs(m, spec)[0]}
    assert pairs["leg = fold right"].nominal == 8 and pairs["leg = fold right"].deviation == pytest.approx(0)
    n = leaning(m, spec, "right")
    assert n is not None
    assert n.item.measured == pytest.approx(8.7724, abs=6e-5)  # working paper, section 4
    assert n.item.deviation == pytest.approx(0, abs=1e-6)


def test_pair_of_an_unseen_foot_is_undetermined(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    items, missing = compare_pairs(measured_of(profile_of(spec), spec), spec)
    assert "foot + fold, left = right" in missing
    assert all(i.name != "foot + fold, left = right" for i in items)
    items, missing = compare_pairs(measured_of(profile_of(spec, {"foot left": 1}, spine=True), spec), spec)
    found = next(i for i in items if i.name == "foot + fold, left = right")
    assert missing == {} and found.deviation == pytest.approx(1)


def test_clearance_says_what_was_assumed(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    items, _ = compare_clearance(measured_of(profile_of(spec, {"plane right": 8}), spec), spec)
    right = next(i for i in items if i.name == "clearance right")
    assert right.measured == pytest.approx(148.5 - 12 - 40 - 98)
    assert right.u > 0.5 and "from the design: foot right, page right" in remark_words(right)
    items, _ = compare_clearance(measured_of(profile_of(spec, {"plane right": 8}, spine=True), spec), spec)
    right = next(i for i in items if i.name == "clearance right")
    assert right.u < 0.25 and "from the design" not in remark_words(right)


def test_missing_plane_edge_leaves_clearance_open(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    m = measured_of(profile_of(spec, missing=("plane edge left",)), spec)
    items, missing = compare_clearance(m, spec)
    assert [i.name for i in items] == ["clearance right"] and "clearance left" in missing
    assert "plane left" in m.undetermined


def test_contributions_add_up(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    faults = {"leg right": -0.9, "page spacing right": 0.7, "fold left": 0.4, "foot left": 0.3}
    m = measured_of(profile_of(spec, faults), spec)
    n = leaning(m, spec, "right")
    assert n is not None
    assert sum(c.first_order_deg for c in n.contributions) == pytest.approx(n.item.measured, abs=0.05)
    top = n.contributions[0]
    assert top.length == "leg right" and top.exact_deg == pytest.approx(-0.9, abs=0.03)
    assert top.u_deg == pytest.approx(0.085, abs=0.01)  # 1.001 degrees per mm times 0.085 mm


def test_nominal_feet_follow_the_opening(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED.replace("depth = 210", "opening = 120"), tmp_path)
    assert nominal_lengths(spec)["feet"] == pytest.approx(24 * np.sin(np.radians(60)))


def test_a_plane_half_that_misses_the_ridge_is_not_believed(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    profile = profile_of(spec)
    panels = tuple(
        replace(p, line_mm=p.line_mm + np.array([0.0, 3.0])) if p.name == "plane right" else p
        for p in profile.panels
    )
    m = measured_of(replace(profile, panels=panels), spec)
    assert "right" not in m.lean and "left" in m.lean
    assert "does not come to the ridge" in reason_words(m.undetermined["plane spacing right"])
    assert {"leg right", "plane right"} <= set(m.undetermined)
    assert "leg left" in m.lengths and "fold right" in m.lengths


def test_a_spine_alone_is_no_base_line(tmp_path: Path) -> None:
    """A mark told the spine, but no strip that stands on the pages was seen: nothing to lean against."""
    feet = tuple(
        f"{k} {side}" for k in ("inner foot", "outer foot", "fore edge") for side in ("left", "right")
    )
    spec = spec_of(TWO_SIDED, tmp_path)
    measured = measured_of(profile_of(spec, spine=True, missing=feet), spec)
    assert measured.lean == {} and "plane left" in measured.lengths
