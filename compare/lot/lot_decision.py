"""The decision on a lot: accept, do not accept, or undecided; and whether to stop the line.

By attributes: a sample is nonconforming if it surely is (decision rule of the single report). Samples too
close to call are counted both ways: only what holds either way is decided.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from compare.lot.lot_words import became, capital, listed, percent, size
from compare.lot.plans import variable_plans as variables
from compare.lot.plans.attribute_plans import (
    AQLS,
    PastLot,
    Plan,
    Severity,
    Switch,
    aql_index,
    next_severity,
    plan,
)
from compare.lot.plans.plan_risks import Risks, risks
from compare.lot.run.samples import Sample
from compare.lot.study.capability import share_interval
from compare.lot.study.lot_statistics import Statistics
from compare.verdict.conformity import Verdict
from compare.vocabulary import spoken

Word = Literal["accept", "do not accept", "undecided"]
NEAR: Final = 0.75  # a drift that has used up this share of the tolerance stops the line


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Samples by outcome; `unusable` are those without a usable photo."""

    conforming: int
    failing: int
    open: int
    unusable: int

    @property
    def judged(self) -> int:
        """Samples with a verdict."""
        return self.conforming + self.failing + self.open


@dataclass(frozen=True, slots=True, kw_only=True)
class ByVariables:
    """Second opinion by variables: factor, and the lengths that do not keep it; None where n is too small."""

    n: int
    k: float
    too_near: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The decision.

    Attributes
    ----------
    word : on the lot. stop : stop the line. headline : one sentence; sentences : what it rests on.
    plan, switch, risks : of the sampling plan; None without one.
    by_plan : outcomes of the samples the plan was judged by, the first `plan.n`; None without a plan.
    share : 95 % interval of the nonconforming share of the lot, open samples counted either way.
    drifting : statistics of what changed, lengths first and the worst first.
    """

    word: Word
    stop: bool
    headline: str
    sentences: tuple[str, ...]
    counts: Counts
    share: tuple[float, float]
    plan: Plan | None
    by_plan: Counts | None
    switch: Switch | None
    risks: Risks | None
    by_variables: ByVariables | None
    drifting: tuple[Statistics, ...]


def count(samples: Sequence[Sample]) -> Counts:
    """Count the samples by outcome."""
    seen = [s.verdict for s in samples]
    return Counts(
        conforming=seen.count(Verdict.CONFORMS),
        failing=seen.count(Verdict.FAILS),
        open=seen.count(Verdict.OPEN),
        unusable=seen.count(None),
    )


def first_judged(samples: Sequence[Sample], n: int) -> int:
    """Return how many samples from the first on hold `n` that could be judged (all, if there are fewer).

    An acceptance number belongs to its sample size: with more samples judged by it, good lots are refused.
    """
    judged = 0
    for i, sample in enumerate(samples):
        judged += sample.verdict is not None
        if judged == n:
            return i + 1
    return len(samples)


def drifting(statistics: Sequence[Statistics]) -> tuple[Statistics, ...]:
    """Return what changed, lengths before what follows from them, the largest change first."""
    found = [s for s in statistics if s.drifts]
    return tuple(sorted(found, key=lambda s: (s.kind != "length", -abs(s.course.change) / s.half)))


def urgent(s: Statistics) -> bool:
    """Return True if what changed has come near its limit or beyond, or takes samples out of limits."""
    end = s.now
    limit = s.high if end > 0 else -s.low
    return s.failing > 0 or (math.isfinite(limit) and abs(end) >= NEAR * limit)


def since(s: Statistics, samples: Sequence[Sample]) -> str:
    """Return since when it changed."""
    if s.course.kind == "drift":
        return "over the whole lot"
    return f"since {samples[s.samples[s.course.start]].when}"


def drift_words(s: Statistics, samples: Sequence[Sample]) -> str:
    """Return what changed, how much, since when, and where it stands: without a full stop."""
    how = "gets" if s.course.kind != "step" else "became"
    limit = s.high if s.now > 0 else -s.low
    stands = f"now {size(s.now, s.unit)} off"
    if math.isfinite(limit):
        stands += f" with {size(limit, s.unit)} allowed"
    return (
        f"{spoken(s.name)} {how} {became(s.kind, s.course.change)}, {size(s.course.change, s.unit)} "
        f"{since(s, samples)}, {stands}"
    )


def past_lots(rows: Sequence[Mapping[str, Any]], before: str) -> list[PastLot]:
    """Return the decisions before a lot, all if it was never decided: judged again it is not its own past."""
    earlier = list(itertools.takewhile(lambda r: r["lot"] != before, rows))
    return [
        PastLot(
            severity=r["severity"],
            accept=r["accept"],
            accepted=bool(r["accepted"]),
            accepted_stricter=bool(r["accepted_stricter"]),
        )
        for r in earlier
    ]


def plan_for(
    lot_size: int, aql: float, level: str, severity: Severity | None, past: Sequence[PastLot]
) -> tuple[Plan, Switch]:
    """Return the plan, its severity as asked for or as the switching rules want it."""
    switch = next_severity(past)
    return plan(lot_size, aql, level, severity or switch.severity), switch


def _variables(statistics: Sequence[Statistics], aql: float) -> ByVariables | None:
    """Judge every length by a plan with the producer's risk of 5 % at the AQL."""
    lengths = [s for s in statistics if s.kind == "length" and s.n >= 5 and s.sd > 0]
    if not lengths:
        return None
    n = min(s.n for s in lengths)
    k = variables.factor(n, aql / 100, 0.95)
    bad = [s.name for s in lengths if not variables.judge(s.values, s.low, s.high, k).accepted]
    return ByVariables(n=n, k=k, too_near=tuple(bad))


def _by_plan(p: Plan, counts: Counts) -> tuple[Word, str]:
    """Decide by the plan; open samples count both ways."""
    least, most = counts.failing, counts.failing + counts.open
    if least >= p.reject:
        return "do not accept", f"{least} nonconforming samples are {p.reject} or more"
    if counts.judged < p.n:
        missing = p.n - counts.judged
        return "undecided", f"the plan wants {p.n} samples, {missing} more than could be judged"
    if most <= p.accept:
        return "accept", f"at most {most} nonconforming among {counts.judged}, {p.accept} are allowed"
    if most < p.reject:
        return "accept", (
            f"at most {most} nonconforming among {counts.judged}, fewer than {p.reject}; the next lot is "
            "inspected normally"
        )
    return "undecided", (
        f"{least} to {most} nonconforming, {p.accept} are allowed: look again at those too close to call"
    )


def _without_plan(counts: Counts) -> tuple[Word, str]:
    if counts.failing:
        what = "sample does" if counts.failing == 1 else "samples do"
        return "do not accept", f"{counts.failing} of {counts.judged} {what} not conform"
    if not counts.judged:
        return "undecided", "no sample could be judged"
    if counts.open:
        return "undecided", f"{counts.open} of {counts.judged} samples are too close to call"
    return "accept", f"all {counts.judged} samples conform"


def _plan_sentences(p: Plan, switch: Switch, r: Risks, beyond: Counts) -> list[str]:
    out = [
        f"Sampling plan: {p.n} of {p.size} pieces, accept with {p.accept} nonconforming, refuse with "
        f"{p.reject} (MIL-STD-105E, AQL {p.aql:g} %, {p.severity} inspection).",
    ]
    if beyond.judged:
        out.append(
            f"The plan looks at the first {p.n} samples in the order of making; the other {beyond.judged} do "
            f"not count for it ({beyond.failing} of them nonconforming)."
        )
    if p.whole_lot:
        out.append(
            "The lot is no larger than the sample: every piece is looked at, so nothing is left to risk."
        )
    else:
        out.append(
            f"Risks of this plan: a lot with {p.aql:g} % nonconforming is refused {percent(r.producer)} of "
            f"the time; one with {percent(r.consumer_share)} is still accepted once in ten times."
        )
    if switch.stop:
        out.append("Five lots were not accepted under tightened inspection: stop until the cause is mended.")
    elif switch.severity != p.severity:
        out.append(f"By the switching rules {switch.severity} inspection is due: {switch.why}.")
    return out


def _headline(
    word: Word, why: str, moving: Sequence[Statistics], stop: bool, samples: Sequence[Sample]
) -> str:
    if stop and moving:
        return f"Stop the line: {drift_words(moving[0], samples)}."
    if stop:
        return f"Stop the line: {why}."
    start = {"accept": "Accept", "do not accept": "Do not accept", "undecided": "Undecided"}[word]
    text = f"{start}: {why}"
    return f"{text}; but watch: {drift_words(moving[0], samples)}." if moving else f"{text}."


def decide(
    samples: Sequence[Sample],
    statistics: Sequence[Statistics],
    chosen: tuple[Plan, Switch] | None = None,
) -> Decision:
    """Decide on a lot.

    Parameters
    ----------
    samples : of the lot. statistics : of everything measured. chosen : plan and switching state, if the
        lot is to be accepted or refused by a sampling plan; without one only the samples are judged.
    """
    counts = count(samples)
    moving = drifting(statistics)
    lengths_moving = [s for s in moving if s.kind == "length"] or list(moving)
    n = max(counts.judged, 1)
    share = (
        share_interval(counts.failing, n)[0],
        share_interval(min(counts.failing + counts.open, n), n)[1],
    )
    sentences: list[str] = []
    p = r = switch = by = of_plan = None
    if chosen is None:
        word, why = _without_plan(counts)
        sentences.append(
            "No sampling plan was asked for (--size, --aql): this judges the samples, not the whole lot."
        )
    else:
        p, switch = chosen
        r = risks(p.n, p.reject - 1, p.aql)
        first = first_judged(samples, p.n)
        of_plan = count(samples[:first])
        word, why = _by_plan(p, of_plan)
        sentences += _plan_sentences(p, switch, r, count(samples[first:]))
        by = _variables(statistics, p.aql)
    stop = any(urgent(s) for s in moving) or bool(switch and switch.stop)
    if stop and word == "accept":
        word, why = "undecided", f"{why}, but the line does not hold its course"
    if stop and moving:
        sentences.insert(0, f"The lot itself: {word} ({why}).")
    rest = [f"{capital(drift_words(s, samples))}." for s in lengths_moving[1:]]
    sentences = [*rest, *sentences]
    follow = [s.name for s in moving if s.kind != "length"]
    if follow and moving[0].kind == "length":
        sentences.insert(len(rest), f"With it changed: {listed(follow)}.")
    if counts.open:
        out = sum(s.out_of_limits for s in samples)
        sentences.append(
            f"By the measured values alone {out} of {counts.judged} samples are out of a limit; "
            f"{counts.open} are too near to one to be sure."
        )
    if counts.judged:
        sentences.append(
            f"From these samples alone, {percent(share[0])} to {percent(share[1])} of such pieces do not "
            "conform (95 % confidence)."
        )
    return Decision(
        word=word,
        stop=stop,
        headline=_headline(word, why, lengths_moving, stop, samples),
        sentences=tuple(sentences),
        counts=counts,
        share=share,
        plan=p,
        by_plan=of_plan,
        switch=switch,
        risks=r,
        by_variables=by,
        drifting=moving,
    )


def stricter_would_accept(p: Plan, level: str, nonconforming: int) -> bool:
    """Return whether the lot keeps what the switching rules ask beyond acceptance.

    Under normal inspection the plan one AQL step stricter must accept too (switching score, ISO 2859-1
    9.3.3); under reduced inspection the acceptance number must be kept (MIL-STD-105E, 4.10.1).
    """
    if p.severity == "reduced":
        return nonconforming <= p.accept
    at = aql_index(p.aql)
    if at == 0:
        return False
    return nonconforming <= plan(p.size, AQLS[at - 1], level, p.severity).accept
