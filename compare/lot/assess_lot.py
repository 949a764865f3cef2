"""A lot assessed: samples, statistics, decision and advice together, for every way of telling them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from compare.compare_errors import LotError, LotOption
from compare.design.spec.spec import Spec
from compare.lot.charts.drift import SHUFFLE_SEED
from compare.lot.ledger.ledger import Ledger
from compare.lot.lot_advice import Advice, Frequent, advice, frequent_causes
from compare.lot.lot_decision import Decision, decide, past_lots, plan_for, stricter_would_accept
from compare.lot.plans.attribute_plans import Severity
from compare.lot.run.checking import Checking
from compare.lot.run.runner import Run
from compare.lot.run.samples import Sample, judged, load_samples
from compare.lot.run.unused_photos import LotNote, Unused
from compare.lot.study.lot_statistics import Statistics, statistics_of
from compare.lot.study.master import Comparison, Master, compare_with
from compare.lot.study.repeatability import set_apart
from compare.lot.study.sample_groups import label_columns
from compare.version import own_version


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """What the decision on the lot is to rest on: its size, AQL (percent), level, and severity if given."""

    size: int
    aql: float
    level: str = "II"
    severity: Severity | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Assessment:
    """Everything there is to say about a lot.

    Attributes
    ----------
    samples : as judged in their lot. comparison : with samples measured by hand; None without any.
    problems : (photo, reason) of all that could not be used.
    notes : what is to be known about how the photos were found.
    """

    lot: str
    spec: Spec
    checking: Checking
    samples: tuple[Sample, ...]
    statistics: tuple[Statistics, ...]
    decision: Decision
    advice: tuple[Advice, ...]
    causes: tuple[Frequent, ...]
    comparison: Comparison | None
    problems: tuple[tuple[str, Unused], ...]
    notes: tuple[LotNote, ...]
    version: str

    @property
    def cuts(self) -> bool:
        """True if any of the advice needs a knife or blade."""
        return any(a.cuts for a in self.advice)

    @property
    def exit_code(self) -> int:
        """Return 0 for accept, 3 for a stop or not accepted, 4 for undecided."""
        if self.decision.stop or self.decision.word == "do not accept":
            return 3
        return 0 if self.decision.word == "accept" else 4

    def worst(self, most: int = 3) -> tuple[Sample, ...]:
        """Return the samples farthest out of their limits (or nearest to them), the worst first."""
        seen = [s for s in self.samples if s.readings]
        return tuple(sorted(seen, key=lambda s: -how_far(s))[:most])


def how_far(sample: Sample) -> float:
    """Return the largest deviation of a sample as a share of its limit."""
    out = 0.0
    for r in sample.readings.values():
        limit = r.high if r.deviation > 0 else -r.low
        if np.isfinite(limit) and limit > 0:
            out = max(out, abs(r.deviation) / limit)
    return out


def assess(
    lot: str,
    spec: Spec,
    checking: Checking,
    run: Run,
    ledger: Ledger,
    sampling: Sampling | None,
    together: str | None = None,
    masters: Sequence[Master] = (),
) -> Assessment:
    """Assess a lot from the ledger, and keep the decision there if a sampling plan was asked for.

    Parameters
    ----------
    lot : its name. checking : how the samples were checked.
    run : the run that checked it. sampling : plan to decide by, or None.
    together : column of the manifest that tells which samples were taken together, or None.
    masters : samples that were measured by hand as well.

    Raises
    ------
    LotError : the plan does not exist, the ledger cannot be used, or a master does not fit its photo.
    """
    samples = set_apart(load_samples(ledger, list(run.keys)))
    comparison = None
    if masters:
        samples, comparison = compare_with(samples, masters, spec)
    samples = tuple(judged(s, checking.rule) for s in samples)
    if together is not None and together not in label_columns(samples):
        known = ", ".join(label_columns(samples)) or "none"
        raise LotError(LotOption.TOGETHER, f": the manifest has no column {together!r} (labels: {known})")
    statistics = statistics_of(samples, np.random.default_rng(SHUFFLE_SEED), checking.rule, together)
    chosen = None
    if sampling is not None:
        past = past_lots(ledger.decisions(spec.source.sha256), before=lot)
        chosen = plan_for(sampling.size, sampling.aql, sampling.level, sampling.severity, past)
    decision = decide(samples, statistics, chosen, checking.rule)
    if sampling is not None and decision.plan is not None and decision.word != "undecided":
        _keep(ledger, lot, spec, decision, sampling)
    return Assessment(
        lot=lot,
        spec=spec,
        checking=checking,
        samples=samples,
        statistics=statistics,
        decision=decision,
        advice=advice(statistics, samples),
        causes=frequent_causes(samples),
        comparison=comparison,
        problems=(*(p for s in samples for p in s.refused), *run.problems),
        notes=tuple(run.notes),
        version=own_version(),
    )


def _keep(ledger: Ledger, lot: str, spec: Spec, decision: Decision, sampling: Sampling) -> None:
    plan, counts = decision.plan, decision.by_plan
    assert plan is not None and counts is not None
    bad = counts.failing
    ledger.decide(
        {
            "lot": lot,
            "spec_sha256": spec.source.sha256,
            "severity": plan.severity,
            "n": plan.n,
            "accept": plan.accept,
            "nonconforming": bad,
            "accepted": int(decision.word == "accept"),
            "accepted_stricter": int(
                decision.word == "accept" and stricter_would_accept(plan, sampling.level, bad)
            ),
        }
    )
