"""What the samples of a lot say about each thing measured: place, spread, course, groups."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.lot.charts.control_charts import Chart, groups, individuals, short_term_sigma, within_sigma
from compare.lot.charts.drift import Course, course
from compare.lot.charts.run_rules import Signal, signals
from compare.lot.run.samples import Reading, Sample
from compare.lot.study.capability import (
    Capability,
    Normality,
    capability,
    moving_range_freedom,
    normality,
    share_outside,
    true_spread,
)
from compare.lot.study.tolerance_interval import two_sided_factor
from compare.lot.study.variance import by_columns
from compare.verdict.conformity import Rule, Verdict

FEWEST: Final = 3  # samples below which nothing is said about spread
SHARE: Final = 0.95  # of all parts, that the tolerance interval holds ...
CONFIDENCE: Final = 0.95  # ... with this confidence
REPEATS: Final = 5  # degrees of freedom needed before repeated photos tell the measuring spread
WORTH: Final = 0.25  # a change smaller than this share of the tolerance is not worth a word
SURE: Final = 0.01  # probability of chance, shared among all lengths looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Samples with one label: mean deviation, its 95 % half-width, and how many."""

    label: str
    mean: float
    half_width: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """Samples divided by one column of the manifest.

    Attributes
    ----------
    chance : probability that so large differences come by chance, the other columns accounted for; nan if
        the column divides the samples as the others do.
    """

    column: str
    chance: float
    groups: tuple[Group, ...]

    @property
    def difference(self) -> float:
        """Largest mean minus smallest."""
        return self.longest.mean - self.shortest.mean

    @property
    def shortest(self) -> Group:
        """The group of the smallest mean."""
        return min(self.groups, key=lambda g: g.mean)

    @property
    def longest(self) -> Group:
        """The group of the largest mean."""
        return max(self.groups, key=lambda g: g.mean)

    @property
    def worst(self) -> Group:
        """The one of these two that is farther off the design."""
        return max((self.shortest, self.longest), key=lambda g: abs(g.mean))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Subgroups:
    """Samples taken together now and then: charts of their means and of the spread within them.

    Attributes
    ----------
    column : of the manifest. names : label of each subgroup, in order; size : samples in each.
    means, spread : charts (X-bar and R up to five samples, X-bar and S above). sd : within subgroups.
    left_out : samples of subgroups that are not complete.
    """

    column: str
    names: tuple[str, ...]
    size: int
    means: Chart
    spread: Chart
    sd: float
    left_out: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Statistics:
    """One thing measured, over the lot. All values are deviations from nominal.

    Attributes
    ----------
    samples : indices of the samples it was measured on, in order; values : (n,) of them.
    low, high : limits. mean, sd : of the values; short_sd : from successive differences.
    u : median standard uncertainty of a value.
    able : indices with the short-term spread (Cp, Cpk), did : with that of the whole (Pp, Ppk); None with
        too few values or no spread.
    interval : holds 95 % of the parts with 95 % confidence (normal distribution).
    outside : values out of limits; failing : surely out, with their uncertainty.
    share : of parts out of limits, normal distribution with the spread as seen.
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
    able: Capability | None
    did: Capability | None
    normality: Normality
    interval: tuple[float, float]
    outside: int
    failing: int
    share: float
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
        return self.course.changed and abs(self.course.change) >= WORTH * self.half

    @property
    def now(self) -> float:
        """Deviation at the end of the lot: fitted if it changed, else the mean."""
        return float(self.course.fitted[-1])

    @property
    def off(self) -> bool:
        """True if all samples are off to one side by enough to matter."""
        wrong_side = (self.mean > 0 and math.isfinite(self.high)) or (
            self.mean < 0 and math.isfinite(self.low)
        )
        return wrong_side and abs(self.mean) >= max(
            2 * WORTH * self.half, 3 * self.sd / math.sqrt(self.n) if self.sd > 0 else 0.0
        )

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


def _groupings(values: Array, labels: Mapping[str, Sequence[str]]) -> tuple[Grouping, ...]:
    used = {k: v for k, v in labels.items() if 1 < len(set(v)) <= len(v) // 2}
    if not used or len(values) < 6:
        return ()
    out: list[Grouping] = []
    for source in by_columns(values, used)[:-1]:
        column = np.array(used[source.name])
        groups: list[Group] = []
        for label in sorted(set(column)):
            x = values[column == label]
            half = math.nan
            if len(x) > 1:
                half = float(stats.t.ppf(0.975, len(x) - 1)) * float(x.std(ddof=1)) / math.sqrt(len(x))
            groups.append(Group(label=str(label), mean=float(x.mean()), half_width=half, n=len(x)))
        out.append(Grouping(column=source.name, chance=source.chance, groups=tuple(groups)))
    return tuple(out)


RANGE_UP_TO: Final = 5  # samples in a subgroup up to which the range tells as much as the deviation


def _subgroups(values: Array, labels: Sequence[str], column: str) -> Subgroups | None:
    """Divide values by label into subgroups of the commonest size; None with fewer than three of them."""
    members: dict[str, list[float]] = {}
    for label, value in zip(labels, values, strict=True):
        members.setdefault(label, []).append(float(value))
    sizes = [len(v) for k, v in members.items() if k]
    size = max(set(sizes), key=lambda n: (sizes.count(n), n), default=0)
    whole = {k: v for k, v in members.items() if k and len(v) == size}
    if size < 2 or len(whole) < FEWEST:
        return None
    table = np.array(list(whole.values()))
    kind: Literal["range", "sd"] = "range" if size <= RANGE_UP_TO else "sd"
    means, spread = groups(table, kind)
    return Subgroups(
        column=column,
        names=tuple(whole),
        size=size,
        means=means,
        spread=spread,
        sd=within_sigma(table, kind),
        left_out=len(values) - table.size,
    )


def _able(
    mean: float, n: int, short_sd: float, together: Subgroups | None, low: float, high: float
) -> Capability | None:
    """Capability with the short-term spread: within subgroups if there are any, else of successive ones."""
    sd, freedom = short_sd, moving_range_freedom(n)
    if together is not None:
        sd, freedom = together.sd, float(len(together.names) * (together.size - 1))
    return capability(mean, sd, n, low, high, target=0.0, freedom=freedom) if sd > 0 else None


def _one(
    name: str,
    samples: Sequence[Sample],
    rule: Rule,
    rng: np.random.Generator,
    looked_at: int,
    together: str | None,
) -> Statistics | None:
    at = tuple(i for i, s in enumerate(samples) if name in s.readings)
    readings = [samples[i].readings[name] for i in at]
    values = np.array([r.deviation for r in readings])
    n, first = len(values), readings[0]
    if n < FEWEST or not (math.isfinite(first.low) or math.isfinite(first.high)):
        return None
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    short_sd = short_term_sigma(values)
    low, high = first.low, first.high
    path = course(values, rng, sure=SURE / looked_at)
    measuring = _measuring_sd(readings)
    per_sample = measuring / math.sqrt(float(np.median([max(len(r.alone), 1) for r in readings])))
    parts = true_spread(sd, per_sample) if math.isfinite(measuring) else math.nan
    k = two_sided_factor(n, SHARE, CONFIDENCE)
    labels = {c: [samples[i].labels.get(c, "") for i in at] for c in label_columns(samples)}
    straight = values - path.fitted + mean  # groups are compared with the drift taken out
    chart = individuals(values)[0] if short_sd > 0 else None
    groups_of = None
    if together is not None:
        groups_of = _subgroups(values, labels.pop(together, [""] * n), together)
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
        able=_able(mean, n, short_sd, groups_of, low, high),
        did=capability(mean, sd, n, low, high, target=0.0) if sd > 0 else None,
        normality=normality(values - path.fitted),
        interval=(mean - k * sd, mean + k * sd),
        outside=int(np.sum((values < low) | (values > high))),
        failing=sum(r.verdict(rule) is Verdict.FAILS for r in readings),
        share=share_outside(mean, sd, low, high),
        measuring=measuring,
        true_share=share_outside(mean, parts, low, high) if math.isfinite(parts) else math.nan,
        course=path,
        chart=chart,
        signals=signals(chart) if chart is not None else (),
        groupings=_groupings(straight, labels),
        subgroups=groups_of,
    )


def label_columns(samples: Sequence[Sample]) -> tuple[str, ...]:
    """Return the columns of the manifest that hold labels."""
    return tuple(dict.fromkeys(c for s in samples for c in s.labels))


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
    looked_at = max(sum(k == "length" for k in kinds.values()), 1)
    found = (_one(n, samples, rule, rng, looked_at, together) for n in names)
    return tuple(s for s in found if s is not None)
