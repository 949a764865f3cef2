"""Decision rules: guarded or simple acceptance, and the table for a spreadsheet."""

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from compare.tell.check.check_csv import COLUMNS, csv_text
from compare.verdict.conformity import Rule, Verdict, judge, probability_within
from compare.verdict.findings import compare_profile
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of


def test_simple_acceptance_decides_by_the_value_alone() -> None:
    # JCGM 106:2012, 8.2 (simple acceptance: acceptance limits are the tolerance limits)
    assert judge(0.99, 0.5, -1, 1, Rule.SIMPLE) is Verdict.CONFORMS
    assert judge(1.01, 0.5, -1, 1, Rule.SIMPLE) is Verdict.FAILS
    assert judge(0.99, 0.5, -1, 1) is judge(1.01, 0.5, -1, 1) is Verdict.OPEN
    assert judge(float("nan"), 0.5, -1, 1, Rule.SIMPLE) is Verdict.OPEN


def test_specific_risk_of_simple_acceptance_is_up_to_one_half() -> None:
    # ILAC-G8:09/2019, table of rules: w = 0 has a specific risk of false acceptance up to 50 %
    risk = [
        1 - probability_within(y, 0.3, -np.inf, 1)
        for y in (0.5, 0.9, 1.0)
        if judge(y, 0.3, -9, 1, Rule.SIMPLE)
    ]
    assert max(risk) == pytest.approx(0.5)
    # one-sided conformance probability at guard bands of u, 1.645 u, 2 u (standard normal table)
    got = [probability_within(1 - k * 0.3, 0.3, -np.inf, 1) for k in (1, 1.645, 2)]
    assert got == pytest.approx([0.84134, 0.95002, 0.97725], abs=1e-5)


def test_the_rule_reaches_every_item_and_the_verdict(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    profile = profile_of(spec, {"leg right": -0.75})
    assert compare_profile(profile, spec).verdict is Verdict.OPEN
    simple = compare_profile(profile, spec, rule=Rule.SIMPLE)
    assert simple.verdict is Verdict.CONFORMS
    assert {i.rule for i in simple.items} == {Rule.SIMPLE}
    assert not any(i.verdict is Verdict.OPEN for i in simple.items)
    assert (
        compare_profile(profile_of(spec, {"leg right": -0.9}), spec, rule=Rule.SIMPLE).verdict
        is Verdict.FAILS
    )


def test_csv_holds_every_item(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    findings = compare_profile(profile_of(spec, {"leg right": -1.9}), spec)
    rows = list(csv.DictReader(io.StringIO(csv_text(findings), newline="")))
    assert tuple(rows[0]) == COLUMNS
    judged = [r for r in rows if r["kind"] != "angle"]
    assert len(judged) == len(findings.items) and all(r["verdict"] for r in judged)
    (leg,) = [r for r in rows if r["name"] == "leg right" and r["kind"] == "length"]
    assert float(leg["deviation"]) == pytest.approx(-1.9) and leg["verdict"] == "does not conform"
    assert float(leg["probability"]) == 0.0
    clearance = next(r for r in rows if r["kind"] == "clearance")
    assert clearance["high"] == "" and clearance["low"] != ""
