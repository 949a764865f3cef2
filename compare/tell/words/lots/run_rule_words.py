"""Run rules in words: what a pattern in a chart looks like."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from compare.lot.charts.run_rules import Signal
from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics

RUN_RULES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "beyond": "one value {side} the three-sigma limit",
        "two of three": "two of three values {side} two sigma",
        "four of five": "four of five values {side} one sigma",
        "run": "nine values in a row {side} the centre",
        "trend": "six values in a row {way}",
    }
)
"""By the name of the rule."""


def signal_words(signal: Signal) -> str:
    """Say what was seen, without capital and full stop."""
    return RUN_RULES[signal.rule].format(
        side="above" if signal.above else "below", way="rising" if signal.above else "falling"
    )


MOST_PLACES: Final = 6


def signals_told(s: Statistics, samples: Sequence[Sample]) -> list[str]:
    """Say which run rules are broken and where, one sentence; nothing where none is.

    Where the course itself is known to have changed it says all that these patterns would.
    """
    if s.course.changed:
        return []
    where: dict[str, list[str]] = {}
    for x in s.signals:
        first, last = (samples[s.samples[k]].name for k in (x.first, x.last))
        where.setdefault(signal_words(x), []).append(first if first == last else f"{first} to {last}")
    if not where:
        return []
    told = [
        f"{words} (sample {', '.join(at[:MOST_PLACES])}{' …' if len(at) > MOST_PLACES else ''})"
        for words, at in where.items()
    ]
    return [f"Not as chance would have it: {'; '.join(told)}."]
