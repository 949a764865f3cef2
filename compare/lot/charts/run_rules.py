"""Run rules: patterns in a chart that chance alone makes too seldom to ignore.

The four zone tests of the Western Electric handbook (Statistical Quality Control Handbook, 1956) with the run
lengths of Nelson (Journal of Quality Technology 16, 1984), whose further tests ISO 7870-2 lists. Together
they cry wolf once in about 90 points of a process that is in order, so one signal is a hint, not a proof.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from compare.lot.charts.control_charts import Chart

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A pattern found.

    Attributes
    ----------
    rule : its name, one of `RULES`.
    first, last : indices of the first and the last value of the pattern.
    above : on which side of the centre (or: rising).
    """

    rule: str
    first: int
    last: int
    above: bool


def _windows(flags: Bools, length: int, needed: int) -> list[tuple[int, int]]:
    """Return (first, last) of every window that ends on a flagged value and holds enough of them."""
    out: list[tuple[int, int]] = []
    for last in np.flatnonzero(flags):
        first = max(int(last) - length + 1, 0)
        if int(flags[first : last + 1].sum()) >= needed:
            out.append((first, int(last)))
    return out


def _zone(sigmas: float, length: int, needed: int) -> Callable[[Array], list[tuple[int, int]]]:
    return lambda z: _windows(z > sigmas, length, needed)


def _rising(z: Array) -> list[tuple[int, int]]:
    steps = np.concatenate([[False], np.diff(z) > 0])
    return [(first - 1, last) for first, last in _windows(steps, 5, 5)]


_TESTS: Final[dict[str, Callable[[Array], list[tuple[int, int]]]]] = {
    "beyond": _zone(3.0, 1, 1),
    "two of three": _zone(2.0, 3, 2),
    "four of five": _zone(1.0, 5, 4),
    "run": _zone(0.0, 9, 9),
    "trend": _rising,
}


RULES: Final = tuple(_TESTS)
"""Names of the rules."""


def _joined(found: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join windows that overlap, so that a long run is told once."""
    out: list[tuple[int, int]] = []
    for first, last in found:
        if out and first <= out[-1][1]:
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def signals(chart: Chart, rules: Sequence[str] = RULES) -> tuple[Signal, ...]:
    """Return the patterns in a chart with symmetric limits, in the order of their ends.

    Raises
    ------
    ValueError : the chart's limits are not symmetric (ranges): only its `outside` means something.
    """
    if not chart.sigma > 0:
        return () if chart.sigma == 0 and not np.any(chart.values != chart.centre) else _only_outside(chart)
    z = (chart.values - chart.centre) / chart.sigma
    found = [
        Signal(rule=rule, first=first, last=last, above=sign > 0)
        for rule in rules
        for sign in (1.0, -1.0)
        for first, last in _joined(_TESTS[rule](sign * z))
    ]
    return tuple(sorted(found, key=lambda s: (s.last, s.first, s.rule)))


def _only_outside(chart: Chart) -> tuple[Signal, ...]:
    """Charts of ranges have no zones; a value beyond a limit is all there is to see."""
    return tuple(
        Signal(rule="beyond", first=i, last=i, above=bool(chart.values[i] > chart.centre))
        for i in chart.outside
    )
