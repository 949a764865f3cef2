"""Run rules in words: what a pattern in a chart looks like."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.lot.charts.run_rules import Signal

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
