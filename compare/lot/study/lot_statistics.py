"""What the samples of a lot say about each thing measured: place, spread, course, groups."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.lot.charts.control_charts import Chart, individuals, short_term_sigma
from compare.lot.charts.drift import SURE, WORTH, Course, base_of, course, shuffles_of
from compare.lot.charts.run_rules import Signal, signals
from compare.lot.run.samples import Reading, Sample
from compare.lot.study.capability import (
    Capability,
    Normality,
    capability,
    moving_range_freedom,
    normality,
    share_outside,
    share_range,
    true_spread,
)
from compare.lot.study.repeatability import weights_of
from compare.lot.study.sample_groups import (
    FEWEST,
    Grouping,
    Subgroups,
    groupings_of,
    label_columns,
    subgroups_of,
)
from compare.lot.study.tolerance_interval import two_sided_factor
from compare.verdict.conformity import COVERAGE, Rule, Verdict

SHARE: Final = 0.95  # of all parts, that the tolerance interval holds ...
CONFIDENCE: Final = 0.95  # ... with this confidence
REPEATS: Final = 5  # degrees of freedom needed before repeated photos tell the measuring spread


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Statistics:
    """One thing measured, over the lot. All values are deviations from nominal.

    Attributes
    ----------
    samples : indices of the samples it was measured on, in order; values : (n,) of them.
    low, high : limits. mean, sd : of the values, each weighed by its uncertainty; short_sd : from successive
        differences.
    u : median standard uncertainty of a value. own : the part of it that scatters from sample to sample;
        common : the part that all samples share, so that no number of them makes the mean surer.
    looked_at : things measured among which this is one; chance is shared among them.
    able : indices with the short-term spread (Cp, Cpk), did : with that of the whole (Pp, Ppk); None with
        too few values or no spread.
    interval : holds 95 % of the parts with 95 % confidence (normal distribution), what is common included.
    outside : values out of limits; failing : surely out, with their uncertainty.
    share : of parts out of limits, normal distribution with the spread as seen; share_range : with the mean
        moved by what is common, either way.
    measuring : standard deviation of the measuring, from repeated photos; nan without.
    true_share : share with the measuring taken out; nan without repeated photos.
    course, chart, signals, groupings : how it runs, and by columns of the manifest.
    subgroups : if samples were taken together in groups; then `able` rests on the spread within them.
    """

    kind: str
    name: str
    unit: str
    samples: tuple[int, ...]
    values: Array
    low: float
    high: float
    mean: float
    sd: float
    short_sd: float
    u: float
    own: float
    common: float
    looked_at: int
    able: Capability | None
    did: Capability | None
    normality: Normality
    interval: tuple[float, float]
    outside: int
    failing: int
    share: float
    share_range: tuple[float, float]
    measuring: float
    true_share: float
    course: Course
    chart: Chart | None
    signals: tuple[Signal, ...]
    groupings: tuple[Grouping, ...]
    subgroups: Subgroups | None

    @property
    def n(self) -> int:
        """Number of samples."""
        return len(self.values)

    @property
    def half(self) -> float:
        """Distance of the nearer limit; the yardstick for what matters."""
        return min(v for v in (abs(self.low), abs(self.high)) if math.isfinite(v))

    @property
    def drifts(self) -> bool:
        """True if it changed, surely and by enough to matter."""
        return self.course.matters(self.half)

    @property
    def mean_u(self) -> float:
        """Standard uncertainty of the mean: what is common, and the scatter over the number of samples."""
        return math.hypot(self.common, self.sd / math.sqrt(self.n))

    @property
    def sure(self) -> float:
        """How many standard uncertainties make a statement sure, with so many lengths looked at."""
        return float(stats.norm.isf(SURE / (2 * self.looked_at)))

    @property
    def stands_sure(self) -> bool:
        """True if it is sure that it is off the design now, and to which side."""
        return abs(self.now) > self.sure * self.mean_u

    @property
    def now(self) -> float:
        """Deviation at the end of the lot: fitted if it changed, else the mean."""
        return float(self.course.fitted[-1])

    @property
    def off(self) -> bool:
        """True if all samples are off to one side, by enough to matter and beyond what the photos share."""
        return self.seems_off and abs(self.mean) > self.sure * self.mean_u

    @property
    def seems_off(self) -> bool:
        """True if the photos show all samples off to one side; it may be the photos that are."""
        wrong_side = (self.mean > 0 and math.isfinite(self.high)) or (
            self.mean < 0 and math.isfinite(self.low)
        )
        scatter = self.sd / math.sqrt(self.n)
        return wrong_side and abs(self.mean) >= max(2 * WORTH * self.half, self.sure * scatter)

    @property
    def spreads(self) -> bool:
        """True if the spread about its course alone fills the tolerance (Pp surely under 1)."""
        if self.n < 8 or not math.isfinite(self.low + self.high):
            return False
        low = self.course.spread * math.sqrt((self.n - 1) / float(stats.chi2.ppf(0.95, self.n - 1)))
        return 6 * low > self.high - self.low

    def telling_groups(self, looked_at: int) -> tuple[Grouping, ...]:
        """Return the columns that matter, surely (with so many lengths looked at) and by enough."""
        return tuple(
            g for g in self.groupings if g.chance * looked_at <= SURE and g.difference >= WORTH * self.half
        )


def _measuring_sd(readings: Sequence[Reading]) -> float:
    """Pooled standard deviation of photos within samples; nan with too few repeats."""
    repeated = [np.array(r.alone) for r in readings if len(r.alone) > 1]
    freedom = sum(len(x) - 1 for x in repeated)
    if freedom < REPEATS:
        return math.nan
    return math.sqrt(sum(float(np.sum((x - x.mean()) ** 2)) for x in repeated) / freedom)


def _able(
    mean: float,
    n: int,
    short_sd: float,
    together: Subgroups | None,
    low: float,
    high: float,
    common: float,
) -> Capability | None:
    """Capability with the short-term spread: within subgroups if there are any, else of successive ones."""
    sd, freedom = short_sd, moving_range_freedom(n)
    if together is not None:
        sd, freedom = together.sd, float(len(together.names) * (together.size - 1))
    if not sd > 0:
        return None
    return capability(mean, sd, n, low, high, target=0.0, freedom=freedom, common=common)


def _weighted(values: Array, weights: Array) -> tuple[float, float]:
    """Return weighted mean and standard deviation (the weights' mean is 1)."""
    n = len(values)
    mean = float(weights @ values) / n
    return mean, math.sqrt(float(weights @ (values - mean) ** 2) / (n - 1))


def _one(
    name: str,
    samples: Sequence[Sample],
    rule: Rule,
    shuffles: np.random.Generator,
    looked_at: int,
    together: str | None,
) -> Statistics | None:
    at = tuple(i for i, s in enumerate(samples) if name in s.readings)
    readings = [samples[i].readings[name] for i in at]
    values = np.array([r.deviation for r in readings])
    n, first = len(values), readings[0]
    if n < FEWEST or not (math.isfinite(first.low) or math.isfinite(first.high)):
        return None
    weights = weights_of(values, [r.stated_own for r in readings])
    mean, sd = _weighted(values, weights)
    common = float(np.median([math.hypot(r.common, r.assumed) for r in readings]))
    short_sd = short_term_sigma(values)
    low, high = first.low, first.high
    path = course(values, shuffles, weights=weights, sure=SURE / looked_at)
    measuring = _measuring_sd(readings)
    per_sample = measuring / math.sqrt(float(np.median([max(len(r.alone), 1) for r in readings])))
    parts = true_spread(sd, per_sample) if math.isfinite(measuring) else math.nan
    half_width = two_sided_factor(n, SHARE, CONFIDENCE) * sd + COVERAGE * common
    labels = {c: [samples[i].labels.get(c, "") for i in at] for c in label_columns(samples)}
    straight = values - path.fitted + mean  # groups are compared with the drift taken out
    chart = individuals(values)[0] if short_sd > 0 else None
    groups_of = None
    if together is not None:
        groups_of = subgroups_of(values, labels.pop(together, [""] * n), together)
    return Statistics(
        kind=first.kind,
        name=name,
        unit=first.unit,
        samples=at,
        values=values,
        low=low,
        high=high,
        mean=mean,
        sd=sd,
        short_sd=short_sd,
        u=float(np.median([r.u for r in readings])),
        own=float(np.median([r.own for r in readings])),
        common=common,
        looked_at=looked_at,
        able=_able(mean, n, short_sd, groups_of, low, high, common),
        did=capability(mean, sd, n, low, high, target=0.0, common=common) if sd > 0 else None,
        normality=normality(values - path.fitted),
        interval=(mean - half_width, mean + half_width),
        outside=int(np.sum((values < low) | (values > high))),
        failing=sum(r.verdict(rule) is Verdict.FAILS for r in readings),
        share=share_outside(mean, sd, low, high),
        share_range=share_range(mean, sd, low, high, COVERAGE * common),
        measuring=measuring,
        true_share=share_outside(mean, parts, low, high) if math.isfinite(parts) else math.nan,
        course=path,
        chart=chart,
        signals=signals(chart) if chart is not None else (),
        groupings=groupings_of(straight, labels),
        subgroups=groups_of,
    )


def statistics_of(
    samples: Sequence[Sample],
    rng: np.random.Generator,
    rule: Rule = Rule.GUARDED,
    together: str | None = None,
) -> tuple[Statistics, ...]:
    """Return the statistics of everything measured on three samples or more, lengths first.

    Parameters
    ----------
    samples : in the order they were made. rng : for the shuffles behind "drifts". rule : decision rule.
    together : column of the manifest whose labels tell which samples were taken together.
    """
    order = {"length": 0, "pair": 1, "lean": 2, "clearance": 3}
    names = list(dict.fromkeys(n for s in samples for n in s.readings))
    kinds = {n: r.kind for s in samples for n, r in s.readings.items()}
    names.sort(key=lambda n: order[kinds[n]])
    looked_at = max(len(names), 1)
    base = base_of(rng)
    found = (_one(n, samples, rule, shuffles_of(base, n), looked_at, together) for n in names)
    return tuple(s for s in found if s is not None)
