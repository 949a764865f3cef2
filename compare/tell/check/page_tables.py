"""Rows of the report's tables: words, figures, the bar, the verdict."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from compare.cause.lean import Leaning
from compare.tell.check.page_bars import Share, deviation_bar, half_range, lean_chart
from compare.tell.draw.verdict_marks import CSS, SIGN
from compare.tell.words.plain_words import chance
from compare.tell.words.verdict_words import remark_words
from compare.units import MM, Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings

SMALLEST_SHARE: Final = 0.03  # degrees; less is not worth a bar
MOST_SHARES: Final = 6


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table, ready to be shown."""

    name: str
    nominal: str
    measured: str
    expanded: str
    deviation: str
    limits: str
    probability: str
    verdict: str
    sign: str
    css: str
    bar: Markup
    remark: str


def _figures(item: Item, unit: Unit | None) -> tuple[str, str, str, str]:
    """Return nominal, measured, U and deviation as text; degrees where there is no unit of length."""
    if unit is not None:
        return (
            unit.number(item.nominal),
            unit.number(item.measured),
            unit.number(item.expanded),
            unit.signed(item.deviation),
        )
    return (
        f"{round(item.nominal, 2) + 0.0:.2f}",
        f"{round(item.measured, 2) + 0.0:+.2f}",
        f"{item.expanded:.2f}",
        f"{round(item.deviation, 2) + 0.0:+.2f}",
    )


def rows_of(items: Sequence[Item], unit: Unit | None) -> tuple[Row, ...]:
    """Return one row per item; `unit` None means degrees."""
    reach = half_range(items) if items else 1.0
    out = []
    for item in items:
        nominal, measured, expanded, deviation = _figures(item, unit)
        name = unit.name if unit else "degrees"
        known = "" if math.isfinite(item.low) and math.isfinite(item.high) else " or more"
        bound = item.high if math.isfinite(item.high) else item.low
        shown = unit.number(bound) if unit else f"{bound:.2f}"
        limits = f"±{shown}" if not known else f"≥ {unit.number(item.nominal + item.low) if unit else shown}"
        spoken = f"{item.name}: off by {deviation} {name}, known to {expanded}; {item.verdict.value}"
        hand = " (hand)" if item.by_hand else ""
        out.append(
            Row(
                name=item.name + hand,
                nominal=nominal,
                measured=measured,
                expanded=expanded,
                deviation=deviation,
                limits=limits,
                probability=chance(item.probability),
                verdict=item.verdict.value,
                sign=SIGN[item.verdict],
                css=CSS[item.verdict],
                bar=deviation_bar(item, reach, spoken),
                remark=remark_words(item, unit or MM),
            )
        )
    return tuple(out)


@dataclass(frozen=True, slots=True)
class LeanChart:
    """The chart of one half with its words."""

    half: str
    chart: Markup
    words: str


def _why(leaning: Leaning, findings: Findings, unit: Unit) -> str:
    """Say what the chart shows."""
    item = leaning.item
    if math.isnan(leaning.solved_deg):
        return "Not all lengths that decide it were seen, so it cannot be shared out."
    told = [c for c in leaning.contributions if abs(c.exact_deg) >= 0.1]
    if item.verdict is Verdict.CONFORMS and not leaning.remainder_matters:
        return "Level within its tolerance; the small shares below are nobody's fault."
    words = ""
    if told:
        c = told[0]
        way = "long" if c.deviation_mm > 0 else "short"
        words = (
            f"The largest share comes from {c.length}, {unit.words(abs(c.deviation_mm))} too {way}: "
            f"{c.exact_deg:+.1f}°."
        )
    if leaning.remainder_matters:
        words += f" {abs(leaning.remainder_deg):.1f}° are not explained by any length."
    return words.strip() or "Many small shares add up."


def lean_charts(findings: Findings) -> tuple[LeanChart, ...]:
    """Return a chart per half: what each length makes, what no length explains, the whole."""
    guilty = {k for c in findings.causes for k in c.fault.pattern}
    out = []
    for n in findings.leans:
        shares: list[Share] = []
        if abs(n.item.nominal) > SMALLEST_SHARE:
            shares.append(Share("by design", n.item.nominal, math.nan, "part"))
        told = [c for c in n.contributions if abs(c.exact_deg) >= SMALLEST_SHARE][:MOST_SHARES]
        shares += [
            Share(c.length, c.exact_deg, 2 * c.u_deg, "culprit" if c.length in guilty else "part")
            for c in told
        ]
        if n.remainder_matters:
            shares.append(Share("no length explains", n.remainder_deg, 2 * n.remainder_u_deg, "rest"))
        if math.isfinite(n.remainder_deg):
            accounted = sum(s.deg for s in shares)
            rest = n.item.measured - accounted
            if abs(rest) >= SMALLEST_SHARE:
                shares.append(Share("all else", rest, math.nan, "rest"))
        shares.append(Share("lean measured", n.item.measured, n.item.expanded, "whole"))
        limit = (n.item.nominal + n.item.low, n.item.nominal + n.item.high)
        parts = "; ".join(f"{s.label} {s.deg:+.1f}" for s in shares)
        allowed = f"{limit[0]:+.1f} to {limit[1]:+.1f}"
        title = f"What makes the {n.side} half lean, degrees: {parts}. Allowed: {allowed}."
        out.append(
            LeanChart(
                half=n.side,
                chart=lean_chart(shares, limit, title),
                words=_why(n, findings, unit_of(findings.spec.units)),
            )
        )
    return tuple(out)
