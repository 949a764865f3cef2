"""The decision on a lot: accept, do not accept, or undecided; and whether to stop the line.

By attributes: a sample is nonconforming if it surely is (decision rule of the single report). Samples too
close to call are counted both ways: only what holds either way is decided.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any, Final, Literal

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
from compare.verdict.conformity import COVERAGE, Rule, Verdict

Word = Literal["accept", "do not accept", "undecided"]
NOT_NORMAL: Final = 0.01  # chance, shared among all, under which values are not taken for normal
NEAR: Final = 0.75  # a drift that has used up this share of the tolerance stops the line


class Basis(Enum):
    """What a decision was made by."""

    # with a plan
    REFUSAL_REACHED = auto()
    TOO_FEW_JUDGED = auto()
    WITHIN_ACCEPTANCE = auto()
    BELOW_REFUSAL = auto()  # beyond acceptance, under reduced inspection
    DOUBT_DECIDES = auto()  # samples too close to call would decide it
    # without one
    SOME_FAIL = auto()
    NONE_JUDGED = auto()
    SOME_OPEN = auto()
    BY_THE_WHOLE = auto()  # some are open by themselves, but together they hold production inside its limits
    ALL_CONFORM = auto()


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
    """Second opinion by variables: the lengths that do not keep the factor, and those that may not.

    Attributes
    ----------
    n, k : samples, and standard deviations that the mean should keep from each limit.
    too_near : lengths that surely do not. unsure : those that do or not by what is common to all photos.
    """

    n: int
    k: float
    too_near: tuple[str, ...]
    unsure: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The decision.

    Attributes
    ----------
    word : on the lot. basis : what it was made by. stop : stop the line.
    off_course : the samples alone would do, but the line does not hold its course.
    plan, switch, risks : of the sampling plan; None without one.
    by_plan : outcomes of the samples the plan was judged by, the first `plan.n`; None without a plan.
    beyond_plan : outcomes of the other samples; None without a plan.
    out_of_limits : samples with a measured value out of its limits, uncertainty left aside.
    share : 95 % interval of the nonconforming share of the lot, open samples counted either way.
    drifting : statistics of what changed, lengths first and the worst first.
    left_aside : what no photo can settle (it rests on a spine that is not seen) and no sample is blamed for.
    """

    word: Word
    basis: Basis
    stop: bool
    off_course: bool
    counts: Counts
    share: tuple[float, float]
    plan: Plan | None
    by_plan: Counts | None
    beyond_plan: Counts | None
    out_of_limits: int
    switch: Switch | None
    risks: Risks | None
    by_variables: ByVariables | None
    drifting: tuple[Statistics, ...]
    left_aside: tuple[str, ...] = ()

    @property
    def moving(self) -> tuple[Statistics, ...]:
        """The lengths that changed; where none did, all that did."""
        return tuple(s for s in self.drifting if s.kind == "length") or self.drifting


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
    """Return True if what changed has come near its limit or beyond, or takes samples out of limits.

    Where it stands carries what is common to all photos: that alone stops no line. Either the change itself,
    in which it cancels, is as large, or it stands near its limit with the common doubt taken off.
    """
    end = abs(s.now)
    limit = s.high if s.now > 0 else -s.low
    if s.failing > 0 or not math.isfinite(limit):
        return s.failing > 0
    near = NEAR * limit
    return end >= near and (abs(s.course.change) >= near or end - COVERAGE * s.common >= near)


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

    def kept(s: Statistics, doubt: float) -> bool:
        return variables.judge(s.values, s.low, s.high, k, doubt).accepted

    bad = [s.name for s in lengths if not kept(s, -COVERAGE * s.common)]
    unsure = [s.name for s in lengths if s.name not in bad and not kept(s, COVERAGE * s.common)]
    return ByVariables(n=n, k=k, too_near=tuple(bad), unsure=tuple(unsure))


def _by_plan(p: Plan, counts: Counts) -> tuple[Word, Basis]:
    """Decide by the plan; open samples count both ways."""
    least, most = counts.failing, counts.failing + counts.open
    if least >= p.reject:
        return "do not accept", Basis.REFUSAL_REACHED
    if counts.judged < p.n:
        return "undecided", Basis.TOO_FEW_JUDGED
    if most <= p.accept:
        return "accept", Basis.WITHIN_ACCEPTANCE
    if most < p.reject:
        return "accept", Basis.BELOW_REFUSAL
    return "undecided", Basis.DOUBT_DECIDES


def hold(statistics: Sequence[Statistics], aside: Sequence[str]) -> bool:
    """Return True if the samples together hold everything inside its limits.

    Steady, normally distributed, no value measured outside, and the tolerance interval (95 % of the parts,
    95 % confidence, what all photos share included) inside the limits.
    """
    return bool(statistics) and all(
        not s.drifts
        and not s.outside
        and not s.normality.chance * len(statistics) < NOT_NORMAL
        and s.low <= s.interval[0]
        and s.interval[1] <= s.high
        for s in statistics
        if s.name not in aside
    )


def _without_plan(
    samples: Sequence[Sample], statistics: Sequence[Statistics], counts: Counts, aside: Sequence[str]
) -> tuple[Word, Basis]:
    if counts.failing:
        return "do not accept", Basis.SOME_FAIL
    if not counts.judged:
        return "undecided", Basis.NONE_JUDGED
    if counts.open:
        seen = all(not s.unseen for s in samples)
        held = {s.name for s in statistics}
        whole = seen and all(n in held for s in samples for n in s.readings if n not in aside)
        if whole and hold(statistics, aside):
            return "accept", Basis.BY_THE_WHOLE
        return "undecided", Basis.SOME_OPEN
    return "accept", Basis.ALL_CONFORM


def decide(
    samples: Sequence[Sample],
    statistics: Sequence[Statistics],
    chosen: tuple[Plan, Switch] | None = None,
    rule: Rule = Rule.GUARDED,
) -> Decision:
    """Decide on a lot.

    Parameters
    ----------
    samples : of the lot. statistics : of everything measured. chosen : plan and switching state, if the
        lot is to be accepted or refused by a sampling plan; without one only the samples are judged.
    rule : by which readings are judged.
    """
    counts = count(samples)
    moving = drifting(statistics)
    n = max(counts.judged, 1)
    share = (
        share_interval(counts.failing, n)[0],
        share_interval(min(counts.failing + counts.open, n), n)[1],
    )
    aside = tuple(dict.fromkeys(n for s in samples for n, r in s.readings.items() if r.left_aside(rule)))
    p = r = switch = by = of_plan = beyond = None
    if chosen is None:
        word, basis = _without_plan(samples, statistics, counts, aside)
    else:
        p, switch = chosen
        r = risks(p.n, p.reject - 1, p.aql)
        first = first_judged(samples, p.n)
        of_plan, beyond = count(samples[:first]), count(samples[first:])
        word, basis = _by_plan(p, of_plan)
        by = _variables(statistics, p.aql)
    stop = any(urgent(s) for s in moving) or bool(switch and switch.stop)
    off_course = stop and word == "accept"
    return Decision(
        word="undecided" if off_course else word,
        basis=basis,
        stop=stop,
        off_course=off_course,
        counts=counts,
        share=share,
        plan=p,
        by_plan=of_plan,
        beyond_plan=beyond,
        out_of_limits=sum(s.out_of_limits for s in samples),
        switch=switch,
        risks=r,
        by_variables=by,
        drifting=moving,
        left_aside=aside,
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
