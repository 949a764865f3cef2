"""Comparison with samples measured by hand: the GUM's own example, lots by simulation, and limits."""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from compare.compare_errors import LotError
from compare.design.spec.spec import Spec
from compare.lot.lot_advice import AdviceKind
from compare.lot.run.hand_readings import HandReading, read_hand_readings
from compare.lot.run.samples import Reading, Sample
from compare.lot.study.master import Master, compare_with
from compare.lot.study.repeatability import scatter_bound, set_apart, weights_of
from compare.verdict.conformity import Verdict
from tests.helpers.made_profiles import TWO_SIDED, spec_of
from tests.helpers.simulated_lots import LENGTHS, Shown, Simulated, pieces, simulate, two_sided


def sample(name: str, deviation: float, *, nominal: float = 40.0, own: float, common: float) -> Sample:
    reading = Reading(
        kind="length", name="leg left", nominal=nominal, deviation=deviation, u=math.hypot(own, common),
        low=-0.8, high=0.8, alone=(), common=common, stated_own=own,
    )  # fmt: skip
    return Sample(
        name=name, place=0, made_at="", labels={}, photos=("p.jpg",), refused=(),
        readings={"leg left": reading}, causes=(), answer="", verdict=Verdict.OPEN, unseen=(),
    )  # fmt: skip


def test_the_end_gauge_of_the_gum(tmp_path: Path) -> None:
    """JCGM 100:2008 (GUM), example H.1: an end gauge compared with a standard, 50 000 838 nm, u_c 32 nm.

    Standard 50 000 623 nm, u 25; difference 215 nm with u 5.8 (repeated), 3.9 and 6.7 (comparator), 2.9 and
    16.6 (temperature and expansion, not shared by the two). What the comparator shows too much is common.
    """
    mm = 1e-6  # mm in a nanometre
    apart = math.sqrt(5.8**2 + 3.9**2 + 6.7**2 + 2.9**2 + 16.6**2) * mm
    shared, wrong = 1000 * mm, 700 * mm  # far more than all the rest, and gone in the difference
    standard = sample("standard", 623 * mm + wrong, nominal=50.0, own=0.0, common=shared)
    gauge = sample("gauge", (623 + 215) * mm + wrong, nominal=50.0, own=apart, common=shared)
    master = Master(sample="standard", readings={"leg left": HandReading(50.000623, 25 * mm)})
    (_, found), told = compare_with([standard, gauge], [master], spec_of(TWO_SIDED, tmp_path))
    r = found.readings["leg left"]
    # What was stated of the common part (0 +- 1000) counts with a weight of (25 / 1000)^2 beside the hand.
    assert r.nominal + r.deviation == pytest.approx(50.000838, abs=0.5 * mm)
    assert r.u == pytest.approx(32 * mm, abs=0.5 * mm)
    assert told.corrections[0].shift == pytest.approx(wrong, abs=0.5 * mm)


def test_a_comparison_never_makes_less_sure(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    lot = [sample("1", 0.3, own=0.1, common=0.02), sample("2", 0.2, own=0.1, common=0.02)]
    (_, other), told = compare_with(
        lot, [Master(sample="1", readings={"leg left": HandReading(40.2, 0.1)})], spec
    )
    assert other.readings["leg left"].u < lot[1].readings["leg left"].u
    assert 0 < told.corrections[0].shift < 0.01 and told.own == math.inf


def test_the_hands_reading_takes_the_masters_place_and_pairs_follow(tmp_path: Path) -> None:
    spec = two_sided(tmp_path, 0.8)
    shown = Shown(own=0.0, cutting=0.0, hand=1e-6)
    truth = np.zeros((12, len(LENGTHS)))
    truth[4, LENGTHS.index("leg left")] = 0.5
    lot = simulate(spec, truth, shown, np.random.default_rng(2), masters=[4])
    mine = lot.samples[4].readings
    assert mine["leg left"].deviation == pytest.approx(0.5, abs=1e-4) and mine["leg left"].u < 1e-5
    assert mine["leg = fold left"].deviation == pytest.approx(0.5, abs=1e-4)
    # nothing scatters here, so nothing is a photo's own, and the hand's doubt is all that is left
    assert all(s.readings["fold left"].u < 1e-5 for s in lot.samples)


def slip(by: float, masters: Sequence[float], place: Path) -> None:
    spec = spec_of(TWO_SIDED, place)
    lot = [sample(str(k), 0.1, own=0.05, common=0.1) for k in range(4)]
    read = [
        Master(sample=str(k), readings={"leg left": HandReading(40 + d + by, 0.05)})
        for k, d in enumerate(masters)
    ]
    compare_with(lot, read, spec)


def test_a_slip_of_the_pen_is_refused(tmp_path: Path) -> None:
    slip(0.0, [0.1, 0.0], tmp_path)
    with pytest.raises(
        LotError, match=r"leg left by hand is 0\.\d+ longer than the photo shows.*read it again"
    ):
        slip(1.0, [0.0], tmp_path)
    with pytest.raises(LotError, match="from master to master, more than their doubts explain"):
        slip(0.0, [0.35, -0.35], tmp_path)


def test_masters_that_do_not_belong(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    lot = [sample(str(k), 0.1, own=0.05, common=0.1) for k in range(4)]
    hand = {"leg left": HandReading(40, 0.05)}
    with pytest.raises(LotError, match=r"no photo shows a sample '9' \(samples: 0, 1, 2, 3\)"):
        compare_with(lot, [Master(sample="9", readings=hand)], spec)
    with pytest.raises(LotError, match=r"the design has no length 'leg port' \(it has: .*leg left"):
        compare_with(lot, [Master(sample="1", readings={"leg port": HandReading(40, 0.05)})], spec)
    with pytest.raises(LotError, match="given twice"):
        compare_with(lot, [Master(sample="1", readings=hand)] * 2, spec)


def test_readings_by_hand(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("length, reading, doubt\nleg left, 40.1, 0.1\n\nfold left, 39.5\n", encoding="utf-8-sig")
    found = read_hand_readings(path, "mm")
    assert found == {"leg left": HandReading(40.1, 0.05), "fold left": HandReading(39.5, 0.15)}
    path.write_text("leg left;40,1;0,2\n")
    assert read_hand_readings(path, "mm") == {"leg left": HandReading(40.1, 0.1)}
    path.write_text("leg left, 1 9/16, 1/64\n")
    (inches,) = read_hand_readings(path, "in").values()
    assert inches.value == pytest.approx(25.4 * 25 / 16) and inches.u == pytest.approx(25.4 / 128)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no reading in it"),
        ("leg left\n", "line 1: length, reading and doubt are wanted"),
        ("a, 1\nleg left, forty\n", "line 2: 'forty' is no reading in mm"),
        ("leg left, 1e9\n", "is no reading in mm"),
        ("leg left, 40, -1\n", "'-1' is no doubt in mm"),
        ("leg left, 40\nleg left, 41\n", "line 2: 'leg left' is read twice"),
    ],
)
def test_readings_that_are_not_understood(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "r.csv"
    path.write_text(text)
    with pytest.raises(LotError, match=told):
        read_hand_readings(path, "mm")
    with pytest.raises(LotError, match="cannot be read"):
        read_hand_readings(tmp_path, "mm")


def test_the_scatter_of_a_lot_bounds_what_is_a_samples_own() -> None:
    rng = np.random.default_rng(4)
    lot = [sample(str(k), float(d), own=0.3, common=0.1) for k, d in enumerate(rng.normal(0, 0.1, 24))]
    first = set_apart(lot)[0].readings["leg left"]
    assert first.u == lot[0].readings["leg left"].u and 0.1 < first.own < 0.2 and first.common > 0.25
    assert set_apart(lot[:5])[0].readings["leg left"].own == pytest.approx(0.3)  # too few to say
    # an upper 95 % bound: held in about 95 of 100 lots (binomial, 400 lots: three standard errors are 3.3 %)
    held = sum(scatter_bound(rng.normal(0, 1, 24)) > 1 for _ in range(400)) / 400
    assert held == pytest.approx(0.95, abs=0.035)


def test_values_are_weighed_by_their_own_doubt() -> None:
    rng = np.random.default_rng(5)
    own = np.where(np.arange(40) % 4 == 0, 0.5, 0.05)
    values = rng.normal(0, np.hypot(0.1, own))
    weights = weights_of(values, own)
    assert weights.mean() == pytest.approx(1) and weights[0] < 0.5 * weights[1]
    assert (weights_of(values, np.full(40, 0.2)) == 1).all()
    means = [
        (float(w @ x) / 40, float(x.mean()))
        for _ in range(200)
        for x in [rng.normal(0, np.hypot(0.1, own))]
        for w in [weights_of(x, own)]
    ]
    weighed, plain = np.std(means, axis=0)
    assert weighed < 0.7 * plain


def lots(place: Path, count: int, tolerance: float, shown: Shown, seed: int, **how: float) -> list[Simulated]:
    """Lots of 24, stable or with a change of the left leg: a `step` in the middle half, or a `drift`."""
    spec, rng = two_sided(place, tolerance), np.random.default_rng(seed)
    out = []
    for _ in range(count):
        truth = pieces(24, shown, rng)
        leg = truth[:, LENGTHS.index("leg left")]
        leg += how.get("step", 0.0) * (np.arange(24) >= rng.integers(6, 19))
        leg += how.get("drift", 0.0) * np.arange(24)
        masters = [5, 11, 17][: int(how.get("masters", 0))]
        out.append(simulate(spec, truth, shown, rng, masters))
    return out


# The figures behind these few lots, from hundreds: `python tests/benchmarks/bench_lots.py simulate`.
def test_a_common_bias_changes_no_die(tmp_path: Path) -> None:
    for lot in lots(tmp_path, 6, 0.5, Shown(), seed=11):
        assert not any(a.sets or a.kind is AdviceKind.VARIES for a in lot.advice)
        assert not lot.decision.stop


def test_steps_and_drifts_are_found_beside_a_common_bias(tmp_path: Path) -> None:
    for how in ({"step": 0.5}, {"drift": 0.05}):
        for lot in lots(tmp_path, 4, 0.8, Shown(), seed=12, **how):
            (leg,) = [s for s in lot.statistics if s.name == "leg left"]
            assert leg.drifts and leg.course.change == pytest.approx(0.5 if "step" in how else 1.15, abs=0.3)


def test_production_that_wanders_a_little_is_not_changed(tmp_path: Path) -> None:
    found = lots(tmp_path, 8, 0.8, Shown(own=0.0, alike=0.5), seed=13)
    assert sum(bool(lot.decision.drifting) for lot in found) <= 1


def test_stable_lots_are_accepted_with_masters(tmp_path: Path) -> None:
    without = lots(tmp_path, 4, 0.8, Shown(), seed=14)
    assert not any(lot.decision.word == "accept" for lot in without)
    compared = lots(tmp_path, 4, 0.8, Shown(), seed=14, masters=3)
    assert sum(lot.decision.word == "accept" for lot in compared) >= 3
    u = np.median([2 * s.u for lot in compared for s in lot.statistics if s.kind == "length"])
    before = np.median([2 * s.u for lot in without for s in lot.statistics if s.kind == "length"])
    assert u < 0.55 * before


def test_a_set_up_that_is_off_is_told_with_the_master(tmp_path: Path) -> None:
    """With the common part taken off, a die that is wrong is told again."""
    spec, rng = two_sided(tmp_path, 0.8), np.random.default_rng(15)
    truth = pieces(24, Shown(), rng)
    truth[:, LENGTHS.index("leg left")] += 0.46
    alone = simulate(spec, truth, Shown(bias=0.03), rng)
    assert {a.kind for a in alone.advice} == {AdviceKind.SEEMS_OFF}
    compared = simulate(spec, truth, Shown(bias=0.03), rng, masters=[3, 9, 15])
    assert [a.kind for a in compared.advice if a.statistics.name == "leg left"] == [AdviceKind.OFF]


def test_limits_in_spec_are_those_simulated(tmp_path: Path) -> None:
    spec: Spec = two_sided(tmp_path, 0.5)
    assert spec.tolerance.of("leg left") == spec.tolerance.matched == 0.5
