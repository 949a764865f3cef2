"""Sampling plans by attributes and by variables, beside published plans."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from compare.compare_errors import LotError
from compare.lot.plans import plan_risks as risks
from compare.lot.plans import variable_plans as variables
from compare.lot.plans.attribute_plans import (
    AQLS,
    PastLot,
    Severity,
    SwitchReason,
    code_letter,
    next_severity,
    plan,
)

# MIL-STD-105E (1989), tables II-A, II-B and II-C, arrows resolved, as in the R package AQLSchemes 1.7:
# n/Ac/Re by severity, code letter and AQL. MIL-STD-105E is in the public domain.
PUBLISHED = list(
    csv.DictReader((Path(__file__).parent / "mil_std_105e.csv").read_text(encoding="utf-8").splitlines())
)
SIZES = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000, 500_001)
NORMAL = dict(zip(SIZES[:12], "ABCDEFGHJKLM", strict=True))


def lot_with(letter: str) -> tuple[int, str]:
    """Return size and level of a lot with this code letter."""
    for level in ("II", "III", "I"):
        for size in SIZES:
            if code_letter(size, level) == letter:
                return size, level
    raise AssertionError(letter)


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda r: f"{r['severity']} {r['letter']}")
def test_every_cell_of_the_published_tables(row: dict[str, str]) -> None:
    size, level = lot_with(row["letter"])
    severity: Severity = row["severity"]  # type: ignore[assignment]
    for aql in AQLS:
        n, accept, reject = map(int, row[f"{aql:g}"].split("/"))
        p = plan(size, aql, level, severity)
        assert (p.n, p.accept, p.reject) == (min(n, size), accept, reject), aql
        assert p.whole_lot == (n >= size)


def test_code_letters_of_level_two() -> None:
    # MIL-STD-105E table I, the same as ISO 2859-1:1999 table 1
    assert "".join(code_letter(size) for size in NORMAL) == "".join(NORMAL.values())


def test_plans_printed_elsewhere() -> None:
    assert (plan(2000, 1.0).n, plan(2000, 1.0).accept) == (125, 3)
    assert (plan(10_000, 1.5).n, plan(10_000, 1.5).accept) == (200, 7)  # vignette of AQLSchemes


def test_code_letters_of_the_other_levels() -> None:
    # ISO 2859-1 table 1: rows 1201-3200 and 35 001-150 000
    levels = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
    assert [code_letter(2000, x) for x in levels] == list("CDEGHKL")
    assert [code_letter(100_000, x) for x in levels] == list("DEGJLNP")
    assert code_letter(10**7, "III") == "R"


def test_tightened_is_stricter_and_reduced_smaller() -> None:
    kinds: tuple[Severity, ...] = ("normal", "tightened", "reduced")
    assert [(plan(2000, 1.0, severity=s).n, plan(2000, 1.0, severity=s).accept) for s in kinds] == [
        (125, 3), (125, 2), (50, 1),
    ]  # fmt: skip
    for size in NORMAL:
        for aql in AQLS:
            normal, tight = plan(size, aql), plan(size, aql, severity="tightened")
            mild = plan(size, aql, severity="reduced")
            bad = 5 * aql / 100
            if not normal.whole_lot and not tight.whole_lot and bad < 0.5:
                pa = [float(risks.chance_of_acceptance(p.n, p.accept, bad)) for p in (normal, tight, mild)]
                assert pa[1] <= pa[0] + 1e-12 and mild.n <= normal.n


def test_refused_words() -> None:
    with pytest.raises(LotError, match=r"the AQL: one of .* got 3 \(nearest: 2.5\)|nearest: 4"):
        plan(500, 3.0)
    with pytest.raises(LotError, match="at least 2"):
        plan(1, 1.0)
    with pytest.raises(LotError, match="the inspection level: one of"):
        plan(500, 1.0, "IV")


def test_switching() -> None:
    def lots(*accepted: bool, severity: Severity = "normal", accept: int = 3) -> list[PastLot]:
        return [PastLot(severity=severity, accept=accept, accepted=a, accepted_stricter=a) for a in accepted]

    assert next_severity([]).severity == "normal"
    assert next_severity(lots(True, False, True, True, False)).severity == "tightened"
    assert next_severity(lots(False, True, True, True, True, False)).severity == "normal"  # six apart
    assert next_severity(lots(*[True] * 9)).severity == "normal"
    ten = next_severity(lots(*[True] * 10))
    assert ten.severity == "reduced" and ten.score == 30
    assert next_severity(lots(*[True] * 10), steady=False).severity == "normal"
    assert next_severity(lots(*[True] * 14, accept=0)).severity == "normal"  # 2 points each
    assert next_severity(lots(*[True] * 15, accept=0)).severity == "reduced"
    assert next_severity(lots(False, False) + lots(*[True] * 5, severity="tightened")).severity == "normal"
    stopped = next_severity(lots(False, False) + lots(*[False] * 5, severity="tightened"))
    assert stopped.stop and stopped.reason is SwitchReason.FIVE_REFUSED
    assert next_severity(lots(*[True] * 10) + lots(False, severity="reduced")).severity == "normal"


def test_operating_characteristic() -> None:
    # NIST/SEMATECH e-Handbook 6.2.3.2, plan n 52, c 3 (values recalled from memory)
    printed = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
    assert risks.chance_of_acceptance(52, 3, np.arange(1, 13) / 100) == pytest.approx(printed, abs=1.1e-3)
    # manual of the R package AcceptanceSampling, plan (20, 0)
    assert risks.chance_of_acceptance(20, 0, np.array([0.05, 0.15])) == pytest.approx(
        [0.358, 0.039], abs=5e-4
    )
    # from a lot of 100 with 5 bad pieces, counted by hand: C(95, 20) / C(100, 20)
    by_hand = np.prod([(95 - i) / (100 - i) for i in range(20)])
    assert float(risks.chance_of_acceptance(20, 0, 0.05, 100)) == pytest.approx(by_hand)


def test_risks_of_a_plan() -> None:
    # plan n 68, c 2: p(0.95) 1.213 %, p(0.05) 8.9704 % (seen second-hand)
    assert risks.share_accepted_with(68, 2, 0.95) == pytest.approx(0.01213, abs=5e-6)
    assert risks.share_accepted_with(68, 2, 0.05) == pytest.approx(0.089704, abs=5e-7)
    r = risks.risks(125, 3, 1.0)
    assert r.producer == pytest.approx(1 - stats.binom.cdf(3, 125, 0.01))
    assert float(risks.chance_of_acceptance(125, 3, r.consumer_share)) == pytest.approx(0.1)


def test_smallest_plans_for_two_points() -> None:
    """Manual of the R package AcceptanceSampling: (5 %, 0.95), (15 %, 0.075) gives n 80, c 7 by attributes
    and n 49, k 1.326538 by variables with unknown s."""
    assert risks.smallest_plan(0.05, 0.05, 0.15, 0.075) == (80, 7)
    found = variables.smallest_plan(0.05, 0.05, 0.15, 0.075)
    assert found.n == 49 and found.k == pytest.approx(1.326538, abs=5e-5)
    assert float(variables.chance_of_acceptance(49, found.k, 0.05)) == pytest.approx(0.95, abs=1e-9)


def test_published_variables_plan() -> None:
    """ISO 3951, letter J, AQL 1 %, s-method: n 35, k 1.89; Pa at 10 % and 11 % from the same manual."""
    got = variables.chance_of_acceptance(35, 1.89, np.array([0.10, 0.11]))
    assert got == pytest.approx([0.0165, 0.00975], abs=5e-5)


def test_variables_example() -> None:
    """MIL-STD-414 example B-1 (recalled from memory): upper limit 209, n 5, k 1.53."""
    q = variables.judge(np.array([197.0, 188, 184, 205, 201]), -np.inf, 209, 1.53)
    assert q.upper == pytest.approx(1.59, abs=5e-3) and q.accepted and np.isnan(q.lower)


def test_chance_of_acceptance_by_simulation() -> None:
    rng = np.random.default_rng(4)
    x = rng.normal(0, 1, (20_000, 20))
    limit = stats.norm.isf(0.03)
    accepted = (limit - x.mean(axis=1)) / x.std(axis=1, ddof=1) >= 1.5
    assert accepted.mean() == pytest.approx(
        float(variables.chance_of_acceptance(20, 1.5, 0.03)), abs=4 * 0.0035
    )
