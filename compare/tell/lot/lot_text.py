"""A lot on the terminal: the decision first, then what it rests on."""

import math
from collections.abc import Sequence
from typing import Final, TextIO

from rich.table import Table
from rich.text import Text

from compare.lot.assess_lot import Assessment
from compare.lot.study.lot_statistics import Statistics
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.words.cautions import cautions
from compare.tell.words.designs.design_words import warnings_told
from compare.tell.words.lots.comparison_words import comparison_sentences
from compare.tell.words.lots.lot_advice_words import advice_do, advice_seen
from compare.tell.words.lots.lot_decision_words import headline, sentences
from compare.tell.words.lots.lot_words import percent
from compare.tell.words.lots.unused_words import lot_note, told_unused
from compare.verdict.conformity import COVERAGE

SHARE_APART: Final = 0.01  # shares that differ by less are told as one
LEAST_SHARE: Final = 0.001


def _signed(x: float) -> str:
    return f"{x:+.2f}" if math.isfinite(x) else "-"


def limits_words(s: Statistics) -> str:
    """Return what the design allows, in a few characters."""
    if math.isfinite(s.low) and math.isfinite(s.high):
        return f"±{s.high:g}" if abs(s.low + s.high) < 1e-9 else f"{s.low:g} to {s.high:g}"
    return f"> {s.low:.2f}" if math.isfinite(s.low) else f"< {s.high:.2f}"


def course_words(s: Statistics, names: Sequence[str]) -> str:
    """Return how a length runs, in a few words."""
    if not s.course.changed:
        return "steady"
    kind = {"drift": "drift", "step": "step", "drift from": "drift"}[s.course.kind]
    start = "" if s.course.kind == "drift" else f" since {names[s.samples[s.course.start]]}"
    return f"{kind} {_signed(s.course.change)}{start}"


def share_words(s: Statistics, aside: Sequence[str]) -> str:
    """Return the share of parts out of limits; a range where what all photos share leaves it open.

    aside : what no photo settles.
    """
    if s.name in aside:
        return "not judged"
    low, high = s.share_range
    if high - low < max(SHARE_APART, s.share):
        return percent(s.share)
    return f"up to {percent(high)}" if low < LEAST_SHARE else f"{percent(low)} to {percent(high)}"


def statistics_table(a: Assessment) -> Table:
    """Return one row per thing measured."""
    table = table_of(
        "Off by, over the samples (mm; lean: degrees)",
        "", "mean", "sd", "limits", "out", "share", "course",
    )  # fmt: skip
    names = [s.name for s in a.samples]
    for s in a.statistics:
        table.add_row(
            s.name,
            f"{_signed(s.mean)} ±{COVERAGE * s.mean_u:.2f}",
            f"{s.sd:.2f}",
            limits_words(s),
            str(s.outside),
            share_words(s, a.decision.left_aside).replace("under ", "<"),
            course_words(s, names),
        )
    return table


def print_assessment(a: Assessment, stream: TextIO) -> None:
    """Print the whole assessment; the first line is the decision."""
    console = console_for(stream)
    console.print(Text(headline(a.decision, a.samples), style="bold"))
    for sentence in [*sentences(a.decision, a.samples), *comparison_sentences(a)]:
        console.print(Text(sentence))
    console.print()
    c = a.decision.counts
    console.print(
        Text(
            f"Lot {a.lot}: {c.conforming} samples conform, {c.failing} do not, {c.open} are too close to "
            f"call, {c.unusable} without a usable photo.",
        )
    )
    console.print()
    if a.statistics:
        console.print(statistics_table(a))
        console.print()
    blocks = {
        "What to tell the assemblers": [
            *(f"{advice_seen(x, a.samples)} {advice_do(x)}" for x in a.advice),
            *cautions(cuts=a.cuts),
        ],
        "Causes the diagnosis names most": [
            f"{f.name}: {f.count} of {c.judged} samples, mean {f.mean_mm:+.1f} mm" for f in a.causes
        ],
        "Photos that could not be used": [f"{name}: {reason}" for name, reason in told_unused(a.problems)],
        "Notes": [*warnings_told(a.spec), *map(lot_note, a.notes)],
    }
    for title, lines in blocks.items():
        if lines:
            console.print(Text(title, style="bold"))
            for line in lines:
                console.print(Text(f"  - {line}"))
            console.print()
