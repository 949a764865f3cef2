"""What is decided on a lot, and what the assemblers are told."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from compare.compare_errors import LotError
from compare.design.load_spec import load_spec
from compare.lot.assess_lot import Assessment, Sampling, assess
from compare.lot.charts.drift import SHUFFLE_SEED
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_history import all_series
from compare.lot.lot_advice import AdviceKind, advice
from compare.lot.lot_decision import Decision, decide, past_lots, stricter_would_accept
from compare.lot.plans.attribute_plans import PastLot, next_severity, plan
from compare.lot.run.manifest import read_lot
from compare.lot.run.runner import run_lot
from compare.lot.run.samples import Reading, Sample, judged
from compare.lot.study.lot_statistics import statistics_of
from compare.tell.words.lots.lot_advice_words import advice_do, advice_seen
from compare.tell.words.lots.lot_decision_words import headline, sentences
from compare.tell.words.lots.lot_words import percent, size
from compare.tell.words.lots.sample_words import sample_answer
from compare.tell.words.name_words import spoken
from compare.tell.words.plain_words import listed
from compare.verdict.conformity import Rule, Verdict
from tests.helpers.made_lots import CHECKING, drifting_lot, fake_folder, fill, result_of
from tests.helpers.made_profiles import TWO_SIDED, spec_of


def assessed(place: Path, sampling: Sampling | None = None, **options: float) -> Assessment:
    """A drifting lot, found in its ledger and assessed."""
    folder, spec_path, book = drifting_lot(place, **options)  # type: ignore[arg-type]
    spec = load_spec(spec_path)
    lot = read_lot(folder)
    with Ledger(book) as ledger:
        run = run_lot(lot, spec, CHECKING, ledger)
        assert run.checked == 0
        return assess(lot.name, spec, CHECKING, run, ledger, sampling)


def sample(
    k: int,
    deviation: float,
    *,
    u: float = 0.05,
    labels: dict[str, str] | None = None,
    alone: tuple[float, ...] = (),
) -> Sample:
    reading = Reading(
        kind="length", name="leg left", nominal=40, deviation=deviation, u=u, low=-0.8, high=0.8, alone=alone
    )
    return Sample(
        name=str(k), place=k, made_at="", labels=labels or {}, photos=("p.jpg",), refused=(),
        readings={"leg left": reading}, causes=(), answer="", verdict=reading.verdict(Rule.GUARDED),
    )  # fmt: skip


def test_a_drift_stops_the_line_and_is_named(tmp_path: Path) -> None:
    a = assessed(tmp_path)
    d = a.decision
    assert d.stop and a.exit_code == 3
    told = headline(d, a.samples)
    assert told.startswith("Stop the line: leg left gets shorter, 1.") and "since sample 1" in told
    worst = d.drifting[0]
    assert worst.name == "leg left" and worst.course.kind in ("drift from", "drift")
    assert 9 <= worst.course.start <= 14  # it began with sample 12
    assert worst.now == pytest.approx(-1.44, abs=0.2)
    assert {s.name for s in d.drifting[1:]} >= {"leg = fold left", "lean left"}
    first = a.advice[0]
    assert first.kind is AdviceKind.CHANGED and first.cuts and a.cuts
    assert advice_seen(first, a.samples).startswith("Leg left became shorter")
    assert "longer again" in advice_do(first)
    assert a.causes[0].name == "leg left"
    assert a.worst(2)[0].name in ("23", "24")


def test_a_die_that_differs_is_told_and_the_shift_is_not(tmp_path: Path) -> None:
    a = assessed(tmp_path)
    (told,) = [x for x in a.advice if x.kind is AdviceKind.DEPENDS]
    seen, do = advice_seen(told, a.samples), advice_do(told)
    assert seen == "Page spacing right depends on the die: with B it is 0.3 mm longer than with A."
    assert "gluing" not in do and "B is farther off" in do
    (s,) = [s for s in a.statistics if s.name == "page spacing right"]
    (by_die,) = [g for g in s.groupings if g.column == "die"]
    assert by_die.difference == pytest.approx(0.35, abs=0.12)


def test_a_good_lot_is_accepted_and_nothing_is_told(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED.replace("length = 0.8", "length = 1.2"), tmp_path)
    rng = np.random.default_rng(1)
    lot = read_lot(fake_folder(tmp_path / "good", 20))
    with Ledger(tmp_path / "l.sqlite") as ledger:
        run = fill(ledger, lot, spec, [{}] * 20, rng, result_of(spec, {}, rng))
        sampling = Sampling(size=150, aql=4.0)  # 20 samples, 2 allowed
        a = assess("good", spec, CHECKING, run, ledger, sampling)
        assert (a.decision.word, a.decision.stop, a.exit_code) == ("accept", False, 0)
        assert headline(a.decision, a.samples) == "Accept: at most 0 nonconforming among 20, 2 are allowed."
        assert a.advice == () == a.causes and not a.cuts
        (kept,) = ledger.decisions(spec.source.sha256)
        assert (kept["accepted"], kept["severity"], kept["n"]) == (1, "normal", 20)


def test_switching_rules_follow_the_ledger(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED.replace("length = 0.8", "length = 1.2"), tmp_path)
    rng = np.random.default_rng(2)
    good, bad = (result_of(spec, wrong, rng) for wrong in ({}, {"leg left": -3.0}))
    with Ledger(tmp_path / "l.sqlite") as ledger:
        for k in range(2):
            lot = read_lot(fake_folder(tmp_path / f"bad {k}", 20))
            run = fill(ledger, lot, spec, [{}] * 20, rng, bad)
            a = assess(lot.name, spec, CHECKING, run, ledger, Sampling(size=150, aql=4.0))
            assert a.decision.word == "do not accept" and a.decision.plan.severity == "normal"  # type: ignore[union-attr]
        lot = read_lot(fake_folder(tmp_path / "next", 20))
        run = fill(ledger, lot, spec, [{}] * 20, rng, good)
        a = assess(lot.name, spec, CHECKING, run, ledger, Sampling(size=150, aql=4.0))
        assert a.decision.plan is not None and a.decision.plan.severity == "tightened"
        # judged again, a lot has only the lots before it as its past
        again = assess("bad 1", spec, CHECKING, run, ledger, Sampling(size=150, aql=4.0))
        assert again.decision.plan is not None and again.decision.plan.severity == "normal"
    assert past_lots([], "x") == []


@pytest.mark.parametrize(
    ("deviations", "word", "why"),
    [
        ([0.0] * 20, "accept", "at most 0 nonconforming"),
        ([0.0] * 18 + [-1.5] * 2, "accept", "at most 2 nonconforming"),
        ([0.0] * 17 + [-1.5] * 3, "do not accept", "3 nonconforming samples are 3 or more"),
        ([0.0] * 16 + [-0.8] * 3 + [-1.5], "undecided", "1 to 4 nonconforming, 2 are allowed"),
        ([0.0] * 12, "undecided", "the plan wants 20 samples, 8 more than could be judged"),
        ([-1.5] * 3, "do not accept", "3 nonconforming"),  # known before all are looked at
    ],
)
def test_by_plan(deviations: list[float], word: str, why: str) -> None:
    samples = [sample(k, d) for k, d in enumerate(deviations)]
    d = decide(samples, (), (plan(150, 4.0), next_severity([])))
    assert d.word == word and why in headline(d, samples)
    told = sentences(d, samples)
    assert any("Sampling plan: 20 of 150 pieces" in s for s in told)
    assert any("refused" in s and "accepted once in ten" in s for s in told)


def test_more_samples_than_the_plan_asks_for_do_not_count_for_it() -> None:
    """An acceptance number belongs to its sample size: of 40 samples the first 20 are judged by 20/2."""
    extra = [sample(k, d) for k, d in enumerate([0.0] * 20 + [-1.5] * 3 + [0.0] * 17)]
    d = decide(extra, (), (plan(150, 4.0), next_severity([])))
    assert d.word == "accept" and d.by_plan is not None and d.by_plan.judged == 20
    assert any("first 20 samples" in s and "(3 of them nonconforming)" in s for s in sentences(d, extra))


def test_a_lot_at_the_limit_is_refused_as_often_as_the_plan_says_whatever_is_inspected() -> None:
    """Lots with 4 % nonconforming, 20 to 60 samples looked at: the plan's own producer's risk (binomial)."""
    rng = np.random.default_rng(105)
    chosen = (plan(150, 4.0), next_severity([]))
    refused = []
    for n in (20, 40, 60):
        lots = [[sample(k, -1.5 * bad) for k, bad in enumerate(rng.random(n) < 0.04)] for _ in range(400)]
        refused.append(np.mean([decide(lot, (), chosen).word != "accept" for lot in lots]))
    told = 1 - stats.binom.cdf(2, 20, 0.04)
    assert refused == pytest.approx([told] * 3, abs=4 * np.sqrt(told * (1 - told) / 400))


def test_between_accept_and_refuse_under_reduced_inspection() -> None:
    """MIL-STD-105E, 4.10.1: lot of 1000, AQL 2.5: n 32, Ac 2, Re 5. Three are accepted, then normal again."""
    chosen = (plan(1000, 2.5, severity="reduced"), next_severity([]))
    assert (chosen[0].n, chosen[0].accept, chosen[0].reject) == (32, 2, 5)
    samples = [sample(k, -1.5 * (k < 3)) for k in range(32)]
    d = decide(samples, (), chosen)
    assert d.word == "accept" and "the next lot is inspected normally" in headline(d, samples)
    assert not stricter_would_accept(chosen[0], "II", 3) and stricter_would_accept(chosen[0], "II", 2)
    gap = PastLot(severity="reduced", accept=2, accepted=True, accepted_stricter=False)
    good = PastLot(severity="normal", accept=5, accepted=True, accepted_stricter=True)
    assert next_severity([*[good] * 10, gap]).severity == "normal"
    assert next_severity([good] * 10).severity == "reduced"


def test_without_plan() -> None:
    good = [sample(k, 0.0) for k in range(4)]
    assert headline(decide(good, ()), good) == "Accept: all 4 samples conform."
    bad = [*good, sample(9, 1.5)]
    assert headline(decide(bad, ()), bad) == "Do not accept: 1 of 5 sample does not conform."
    doubtful = [*good, sample(9, 0.79)]
    d = decide(doubtful, ())
    assert d.word == "undecided" and d.share[0] == 0
    assert any("By the measured values alone 0 of 5" in s for s in sentences(d, doubtful))
    assert headline(decide([], ()), []) == "Undecided: no sample could be judged."


def test_a_small_drift_is_watched_and_a_steady_offset_told() -> None:
    rng = np.random.default_rng(3)
    slope = [sample(k, 0.45 * k / 29 + float(rng.normal(0, 0.02))) for k in range(30)]
    found = statistics_of(slope, np.random.default_rng(0))
    d = decide(slope, found)
    assert not d.stop and d.word == "accept" and "but watch: leg left gets longer" in headline(d, slope)
    off = [sample(k, 0.5 + float(rng.normal(0, 0.05))) for k in range(12)]
    (told,) = advice(statistics_of(off, np.random.default_rng(0)), off)
    assert advice_seen(told, off) == "Leg left is 0.5 mm too long in the mean of 12 samples."
    assert "0.5 mm shorter" in advice_do(told)
    wide = [sample(k, float(v)) for k, v in enumerate(rng.normal(0, 0.6, 20))]
    (told,) = advice(statistics_of(wide, np.random.default_rng(0)), wide)
    assert "varies from piece to piece" in advice_seen(told, wide)


def test_a_step_is_put_down_to_the_die_that_came_with_it() -> None:
    rng = np.random.default_rng(4)
    samples = [
        sample(k, (0.6 if k >= 8 else 0.0) + float(rng.normal(0, 0.04)), labels={"die": "AB"[k >= 8]})
        for k in range(16)
    ]
    (told,) = advice(statistics_of(samples, np.random.default_rng(0)), samples)
    assert "since sample 8" in advice_seen(told, samples)
    assert "it comes with the change from die A to B" in advice_do(told)


def test_measuring_spread_is_taken_out_only_when_it_was_measured() -> None:
    rng = np.random.default_rng(6)
    parts = rng.normal(0, 0.3, 400)
    twice = [parts + rng.normal(0, 0.25, 400) for _ in range(2)]
    samples = [
        sample(k, float((a + b) / 2), alone=(float(a), float(b)))
        for k, (a, b) in enumerate(zip(*twice, strict=True))
    ]
    (s,) = statistics_of(samples, np.random.default_rng(0))
    # standard errors: 0.25 / sqrt(800), 0.35 / sqrt(800)
    assert s.measuring == pytest.approx(0.25, abs=0.03)
    assert s.sd == pytest.approx(math.hypot(0.3, 0.25 / math.sqrt(2)), abs=0.04)
    truth = math.erfc(0.8 / 0.3 / math.sqrt(2))
    assert s.true_share == pytest.approx(truth, rel=0.6) and s.share > 1.6 * truth
    (alone,) = statistics_of([sample(k, float(d)) for k, d in enumerate(parts)], np.random.default_rng(0))
    assert math.isnan(alone.true_share) and math.isnan(alone.measuring)


def test_groups_are_compared_with_the_drift_taken_out() -> None:
    """The late shift has the worse pieces only because the blade wears: it must not be blamed."""
    rng = np.random.default_rng(7)
    samples = [
        sample(k, -1.2 * k / 29 + float(rng.normal(0, 0.05)), labels={"shift": "early" if k < 15 else "late"})
        for k in range(30)
    ]
    (s,) = statistics_of(samples, np.random.default_rng(0))
    assert s.drifts and s.telling_groups(1) == ()


def test_samples_taken_together() -> None:
    rng = np.random.default_rng(8)
    hours = [f"{8 + k // 4}:00" for k in range(42)]  # ten hours of four samples, and two of an eleventh
    jump = [0.5 if h == "13:00" else 0.0 for h in hours]
    samples = [
        sample(k, jump[k] + float(rng.normal(0, 0.08)), labels={"hour": hours[k], "die": "AB"[k % 2]})
        for k in range(42)
    ]
    (s,) = statistics_of(samples, np.random.default_rng(0), together="hour")
    sub = s.subgroups
    assert sub is not None and (sub.size, len(sub.names), sub.left_out) == (4, 10, 2)
    assert [sub.names[k] for k in sub.means.outside] == ["13:00"] and sub.spread.outside == ()
    assert sub.sd == pytest.approx(0.08, rel=0.35) and sub.spread.kind == "ranges"
    assert s.able is not None and s.able.ratio.value == pytest.approx(0.8 / (3 * sub.sd))
    assert [g.column for g in s.groupings] == ["die"]  # the hours are no suspects
    (alone,) = statistics_of(samples, np.random.default_rng(0), together="shift")
    assert alone.subgroups is None


def test_stricter_plan() -> None:
    p = plan(2000, 1.0)  # 125, 3; at 0.65: 125, 2
    assert stricter_would_accept(p, "II", 2) and not stricter_would_accept(p, "II", 3)


def test_no_such_plan(tmp_path: Path) -> None:
    with pytest.raises(LotError, match="the AQL"):
        assessed(tmp_path, Sampling(size=2000, aql=3.0))


def test_words() -> None:
    assert spoken("leg right") == "leg right" and spoken("stage 2 leg 1 left") == "stage 2 leg 1 left"
    assert (
        spoken("leg = fold left") == '"leg = fold left"'
        and spoken("feet") == "the distance of the inner feet"
    )
    assert spoken("lean stage 2 left") == "the lean of the stage 2 left half"
    assert size(-0.04, "mm") == "0.04 mm" and size(1.26, "degrees") == "1.3 degrees"
    assert [percent(p) for p in (0.00001, 0.004, 0.05, 0.5)] == ["under 0.01 %", "0.40 %", "5.0 %", "50 %"]
    assert listed(["a"]) == "a" and listed(["a", "b", "c"]) == "a, b and c"
    assert Verdict.OPEN.value == "too close to call"


def test_what_no_photo_settles_is_said_once_and_blamed_on_no_sample() -> None:
    """A clearance that rests on an unseen spine leaves no sample in doubt."""
    samples = []
    for k in range(12):
        good = sample(k, 0.0)
        spine = Reading(
            kind="clearance", name="clearance left", nominal=2.0, deviation=-0.4, u=0.75, low=-1.0,
            high=math.inf, alone=(), common=0.2, assumed=0.6,
        )  # fmt: skip
        readings = {**good.readings, "clearance left": spine}
        samples.append(
            judged(replace(good, readings=readings, verdict=Verdict.OPEN, unseen=()), Rule.GUARDED)
        )
    d = decide(samples, statistics_of(samples, np.random.default_rng(0)))
    assert d.left_aside == ("clearance left",) and d.counts.open == 0
    assert headline(d, samples) == "Accept: all 12 samples conform (clearance not judged)."
    told = [s for s in sentences(d, samples) if "spine" in s]
    assert len(told) == 1 and told[0].startswith("Left aside, as no photo settles it")
    # what surely fails is no matter of the spine, and what the photo should have shown keeps a sample open
    short = replace(samples[0].readings["clearance left"], deviation=-3.0)
    worse = replace(samples[0], readings={**samples[0].readings, "clearance left": short})
    assert judged(worse, Rule.GUARDED).verdict is Verdict.FAILS
    assert judged(replace(samples[0], unseen=("leg right",)), Rule.GUARDED).verdict is Verdict.OPEN


def test_a_change_stops_the_line_only_by_what_is_not_common() -> None:
    """A small step beside a large common doubt: where it stands may be the photos', so the line runs on."""
    rng = np.random.default_rng(9)

    def stepped(by: float, base: float) -> Decision:
        noise = rng.normal(0, 0.04, 24)
        lot = [
            replace_u(sample(k, base + by * (k >= 12) + float(e), u=0.3), common=0.29)
            for k, e in enumerate(noise)
        ]
        return decide(lot, statistics_of(lot, np.random.default_rng(0)))

    near = stepped(0.25, 0.4)
    assert near.drifting and not near.stop
    assert stepped(0.7, 0.0).stop  # the change alone is as large
    assert stepped(0.25, 1.3).stop  # it stands beyond, whatever is common


def replace_u(s: Sample, common: float) -> Sample:
    return replace(s, readings={n: replace(r, common=common) for n, r in s.readings.items()})


def test_a_change_whose_place_is_not_sure_is_set_by_hand() -> None:
    rng = np.random.default_rng(10)
    noise = rng.normal(0, 0.04, 24)
    lot = [replace_u(sample(k, 0.5 * (k >= 12) + float(e), u=0.3), common=0.29) for k, e in enumerate(noise)]
    (told,) = advice(statistics_of(lot, np.random.default_rng(0)), lot)
    assert told.kind is AdviceKind.CHANGED and "set it by that reading" in advice_do(told)
    assert "0.5 mm shorter again" in advice_do(
        advice(
            statistics_of(known := [replace_u(s, common=0.01) for s in lot], np.random.default_rng(0)), known
        )[0]
    )


def test_a_lot_and_its_history_judge_alike(tmp_path: Path) -> None:
    """Series near the edge of what is told: the lot's course is the history's, name by name."""
    spec = spec_of(TWO_SIDED, tmp_path)
    rng = np.random.default_rng(21)
    base = result_of(spec, {}, rng)
    for k, slope in enumerate((0.010, 0.014, 0.018)):
        lot = read_lot(fake_folder(tmp_path / f"lot {k}", 20))
        with Ledger(tmp_path / f"{k}.sqlite") as ledger:
            run = fill(
                ledger, lot, spec, [{n: slope * i for n in base["lengths"]} for i in range(20)], rng, base
            )
            a = assess(lot.name, spec, CHECKING, run, ledger, None)
            found = all_series(ledger, np.random.default_rng(SHUFFLE_SEED))
        courses = {s.name: (s.course.kind, s.course.start, s.course.chance) for s in a.statistics}
        assert courses == {
            s.name: (s.course.kind, s.course.start, s.course.chance) for s in found if s.name in courses
        }
        one = {s.name: s for s in found}
        assert {n for n, c in courses.items() if c[0] != "steady"} == {
            n for n in courses if one[n].course.changed
        }


def test_what_is_said_of_a_sample_is_what_the_lot_knows() -> None:
    """The photo's own answer stands where the lot knows no better; else what is open (or fails) is named."""
    own = replace(sample(1, 0.75), answer="Too close to call: by the photo.", by_photo=Verdict.OPEN)
    assert sample_answer(own, Rule.GUARDED) == own.answer
    compared = replace(own, verdict=Verdict.CONFORMS)
    assert sample_answer(compared, Rule.GUARDED) == "Conforms."
    sure = replace(sample(1, 1.2), answer=own.answer, by_photo=Verdict.OPEN)
    assert sample_answer(sure, Rule.GUARDED) == "Does not conform: leg left off by +1.20 ± 0.10 mm."
    lost = replace(own, verdict=None, answer="")
    assert sample_answer(lost, Rule.GUARDED) == ""
