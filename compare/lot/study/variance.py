"""Analysis of variance: whether it matters who assembled, which die, which shift.

One way (certified against the reference data of NIST), and several columns together, each judged with the
others already accounted for (type II sums of squares), so that a die used by one person only does not blame
both.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One line of the table: sum of squares, degrees of freedom, F and the probability of chance."""

    name: str
    squares: float
    freedom: int
    f: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWay:
    """One-way table.

    Attributes
    ----------
    between, within : sums of squares. freedom : of both.
    f, chance : F and its probability. sd : residual standard deviation.
    """

    between: float
    within: float
    freedom: tuple[int, int]
    f: float
    chance: float
    sd: float


def one_way(groups: Sequence[Array]) -> OneWay:
    """Compare the means of groups.

    Values are taken relative to the first, and sums are exact (`math.fsum`), so that stiff data (many equal
    leading digits) keep their figures.

    Raises
    ------
    ValueError : fewer than two groups, or no group with two values.
    """
    sets = [np.asarray(g, dtype=float) for g in groups if len(g)]
    n = sum(len(g) for g in sets)
    if len(sets) < 2 or n <= len(sets):
        raise ValueError("at least two groups are needed, one of them with two values")
    origin = float(sets[0][0])
    shifted = [g - origin for g in sets]
    means = [math.fsum(g) / len(g) for g in shifted]
    grand = math.fsum(math.fsum(g) for g in shifted) / n
    between = math.fsum(len(g) * (m - grand) ** 2 for g, m in zip(shifted, means, strict=True))
    within = math.fsum(math.fsum((g - m) ** 2) for g, m in zip(shifted, means, strict=True))
    df = (len(sets) - 1, n - len(sets))
    f = (between / df[0]) / (within / df[1]) if within > 0 else math.inf
    return OneWay(
        between=between,
        within=within,
        freedom=df,
        f=f,
        chance=float(stats.f.sf(f, *df)),
        sd=math.sqrt(within / df[1]),
    )


def _dummies(labels: Sequence[str]) -> Array:
    """Columns (n, levels - 1) that tell the levels apart."""
    levels = sorted(set(labels))
    return np.array([[float(x == level) for level in levels[1:]] for x in labels]).reshape(len(labels), -1)


def _left(y: Array, columns: Sequence[Array]) -> tuple[float, int]:
    """Residual sum of squares and rank of a least-squares fit with a constant."""
    x = np.column_stack([np.ones(len(y)), *columns])
    solution, _, rank, _ = np.linalg.lstsq(x, y, rcond=None)
    rest = y - x @ solution
    return float(rest @ rest), int(rank)


def by_columns(values: Sequence[float] | Array, labels: Mapping[str, Sequence[str]]) -> tuple[Source, ...]:
    """Judge each column with the others accounted for.

    Parameters
    ----------
    values : (n,). labels : column -> n labels.

    Returns
    -------
    One Source per column that has two or more labels and is not the same division as the others together
    (freedom 0 then, f nan), and the last one "left".
    """
    y = np.asarray(values, dtype=float)
    y = y - y.mean()
    used = {name: _dummies(column) for name, column in labels.items() if len(set(column)) > 1}
    rest, rank = _left(y, list(used.values()))
    freedom = len(y) - rank
    out: list[Source] = []
    for name in used:
        others, other_rank = _left(y, [d for k, d in used.items() if k != name])
        df = rank - other_rank
        squares = max(others - rest, 0.0)
        known = df > 0 and freedom > 0 and rest > 0
        f = (squares / df) / (rest / freedom) if known else math.nan
        chance = float(stats.f.sf(f, df, freedom)) if known else math.nan
        out.append(Source(name=name, squares=squares, freedom=df, f=f, chance=chance))
    out.append(Source(name="left", squares=rest, freedom=freedom, f=math.nan, chance=math.nan))
    return tuple(out)
