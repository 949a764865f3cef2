"""Charts of a lot in the order of making, as SVG: shapes, dashes and words tell, colour only helps."""

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from compare.lot.charts.control_charts import Chart
from compare.lot.ledger.ledger_history import Series
from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics
from compare.lot.study.sample_groups import Subgroups
from compare.tell.draw import svg
from compare.tell.draw.verdict_marks import verdict_mark
from compare.tell.lot.lot_axes import (
    BOTTOM,
    HEIGHT,
    RIGHT,
    TOP,
    WIDTH,
    Axes,
    across,
    frame,
    reach,
    scale,
    spread_words,
)
from compare.verdict.conformity import Rule, Verdict

MOST_POINTS: Final = 240  # a chart with more values is drawn by blocks


Word = tuple[float, str, str]
"""Height in the chart, text and style of a word beside it."""


def _draw_limits(
    parts: list[Markup],
    words: list[Word],
    axes: Axes,
    allowed: Sequence[float],
    control: Sequence[float],
) -> None:
    """Add lines and words for what the design allows (if it does) and for control limits."""
    for value in allowed:
        if math.isfinite(value):
            parts.append(across(axes, value, "limit"))
            words.append((float(axes.y(value)), f"allowed {value:+.2f}", "axis strong"))
    for value in control:
        parts.append(across(axes, value, "control"))
        words.append((float(axes.y(value)), f"control {value:+.2f}", "axis"))


def run_chart(s: Statistics, samples: Sequence[Sample], rule: Rule = Rule.GUARDED) -> Markup:
    """Return the deviations in the order the samples were made, with limits, control limits and course."""
    chart = s.chart
    control = [] if chart is None else [float(chart.lower[0]), float(chart.upper[0])]
    y0, y1 = reach(s.low, s.high, s.values, control)
    axes = Axes(-0.5, s.n - 0.5, y0, y1)
    parts = scale(axes, s.unit if s.unit == "mm" else "deg")
    words: list[Word] = []
    _draw_limits(parts, words, axes, (s.high, s.low), control)
    parts.append(across(axes, 0.0, "nominal"))
    words.append((float(axes.y(0.0)), "design", "axis"))
    at = np.arange(s.n)
    if s.course.changed:
        parts.append(svg.line(np.column_stack([axes.x(at), axes.y(s.course.fitted)]), "course"))
        if s.course.kind != "drift":
            x = float(axes.x(s.course.start - 0.5))
            parts.append(svg.line(np.array([[x, TOP], [x, HEIGHT - BOTTOM]]), "since"))
            name = samples[s.samples[s.course.start]].name
            anchor, shift = ("end", -5.0) if x > WIDTH / 2 else ("start", 5.0)
            parts.append(svg.words(f"since {name}", x + shift, TOP + 10, "axis strong", anchor=anchor))
    else:
        parts.append(across(axes, s.mean, "mean"))
        words.append((float(axes.y(s.mean)), f"mean {s.mean:+.2f}", "axis"))
    parts += _points(s, samples, axes, rule)
    parts += _sample_names(s, samples, axes)
    return frame([*parts, *spread_words(words)], f"{s.name} of {s.n} samples in order")


def _points(s: Statistics, samples: Sequence[Sample], axes: Axes, rule: Rule) -> list[Markup]:
    out = [svg.line(np.column_stack([axes.x(np.arange(s.n)), axes.y(s.values)]), "trace")]
    if s.n > MOST_POINTS:
        return out
    for k, i in enumerate(s.samples):
        reading = samples[i].readings[s.name]
        title = f"{samples[i].when}: {reading.deviation:+.2f} ±{2 * reading.u:.2f} {s.unit}"
        beyond = not reading.low <= reading.deviation <= reading.high
        at = float(axes.x(k)), float(axes.y(s.values[k]))
        out.append(verdict_mark(*at, reading.verdict(rule), radius=4.0, title=title, beyond=beyond))
    return out


def _sample_names(s: Statistics, samples: Sequence[Sample], axes: Axes) -> list[Markup]:
    step = max(-(-s.n // 14), 1)
    y = HEIGHT - BOTTOM + 16
    out = [
        svg.words(samples[s.samples[k]].name, float(axes.x(k)), y, "axis", anchor="middle")
        for k in range(0, s.n, step)
    ]
    out.append(svg.words("sample", WIDTH - RIGHT + 8, y, "axis"))
    return out


def subgroup_chart(s: Statistics, sub: Subgroups, which: Literal["means", "spread"]) -> Markup:
    """Return the chart of the means of subgroups, or of the spread within them, with its control limits."""
    chart = sub.means if which == "means" else sub.spread
    names = [f"{sub.column} {name}" for name in sub.names]
    return control_chart(s, chart, names, design=which == "means", shown=[n[:12] for n in sub.names])


def control_chart(
    s: Statistics, chart: Chart, names: Sequence[str], *, design: bool, shown: Sequence[str]
) -> Markup:
    """Return a control chart; a diamond is beyond its limits.

    Parameters
    ----------
    names : of the values, for the pointer; shown : the same short, for the axis.
    design : draw what the design allows too.
    """
    limits = [float(chart.lower[0]), float(chart.upper[0])]
    allowed = (s.low, s.high) if design else (math.nan, math.nan)
    y0, y1 = reach(*allowed, chart.values, limits)
    k = len(chart.values)
    axes = Axes(-0.5, k - 0.5, y0, y1)
    parts = scale(axes, s.unit if s.unit == "mm" else "deg")
    words: list[Word] = []
    _draw_limits(parts, words, axes, allowed, limits)
    parts.append(across(axes, chart.centre, "mean"))
    words.append((float(axes.y(chart.centre)), f"mean {chart.centre:+.2f}", "axis"))
    at = axes.x(np.arange(k))
    parts.append(svg.line(np.column_stack([at, axes.y(chart.values)]), "trace"))
    for j in range(k):
        verdict = Verdict.FAILS if j in chart.outside else None
        title = f"{names[j]}: {chart.values[j]:+.2f} {s.unit}"
        place = float(at[j]), float(axes.y(chart.values[j]))
        parts.append(verdict_mark(*place, verdict, radius=4.0, title=title))
    step = max(-(-k // 8), 1)
    y = HEIGHT - BOTTOM + 16
    parts += [svg.words(shown[j], float(at[j]), y, "axis", anchor="middle") for j in range(0, k, step)]
    return frame([*parts, *spread_words(words)], f"{chart.kind} of {s.name}")


def history_chart(s: Series, lots: Sequence[str], means: Array, sds: Array) -> Markup:
    """Return means with twice their spread, in order; many are drawn by blocks.

    Parameters
    ----------
    s : what was measured, its limits and extent. lots, means, sds : of every point.
    """
    k = len(means)
    size = -(-k // MOST_POINTS)
    starts = np.arange(0, k, size)
    shown = np.array([means[a : a + size].mean() for a in starts])
    spread = np.sqrt([np.mean(np.nan_to_num(sds[a : a + size]) ** 2) for a in starts])
    y0, y1 = reach(
        s.low,
        s.high,
        np.concatenate([shown - 2 * spread, shown + 2 * spread]),
        s.extent,
    )
    axes = Axes(-0.5, len(shown) - 0.5, y0, y1)
    at = axes.x(np.arange(len(shown)))
    parts = scale(axes, "mm" if s.unit == "mm" else "deg")
    words: list[Word] = [(float(axes.y(0.0)), "design", "axis")]
    _draw_limits(parts, words, axes, (s.low, s.high), ())
    parts.append(across(axes, 0.0, "nominal"))
    for x, m, sd in zip(at, shown, spread, strict=True):
        parts.append(svg.line(np.array([[x, axes.y(m - 2 * sd)], [x, axes.y(m + 2 * sd)]]), "whisker thin"))
    parts.append(svg.line(np.column_stack([at, axes.y(shown)]), "course"))
    if len(shown) <= 60:
        parts += [
            verdict_mark(
                float(x),
                float(axes.y(m)),
                None if s.low <= m <= s.high else Verdict.FAILS,
                radius=4.0,
                title=f"{m:+.2f} {s.unit}",
            )
            for x, m in zip(at, shown, strict=True)
        ]
    step = max(-(-len(shown) // 6), 1)
    told = ""
    for j in range(0, len(shown), step):
        text = lots[starts[j]]
        if text == told:
            continue
        told = text
        parts.append(
            svg.words(
                text if len(text) <= 14 else text[:13] + "…",
                float(at[j]),
                HEIGHT - BOTTOM + 16,
                "axis",
                anchor="middle",
            )
        )
    return frame([*parts, *spread_words(words)], f"{s.name} over the lots")
