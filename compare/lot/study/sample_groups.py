"""Samples of a lot in groups: by the labels of the manifest, and those that were taken together."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.lot.charts.control_charts import Chart, groups, within_sigma
from compare.lot.run.samples import Sample
from compare.lot.study.variance import by_columns

FEWEST: Final = 3  # samples (or subgroups) below which nothing is said about spread
RANGE_UP_TO: Final = 5  # samples in a subgroup up to which the range tells as much as the deviation


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


def label_columns(samples: Sequence[Sample]) -> tuple[str, ...]:
    """Return the columns of the manifest that hold labels."""
    return tuple(dict.fromkeys(c for s in samples for c in s.labels))


def groupings_of(values: Array, labels: Mapping[str, Sequence[str]]) -> tuple[Grouping, ...]:
    """Compare the samples by each column of labels; () where the labels divide nothing."""
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


def subgroups_of(values: Array, labels: Sequence[str], column: str) -> Subgroups | None:
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
