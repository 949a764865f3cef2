"""Charts of a lot as SVG: readable in print and without colour (shapes, dashes and words tell)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import ArrayLike, NDArray

from compare.conformity import Rule, Verdict
from compare.lot.advice import Frequent
from compare.lot.charts import Chart
from compare.lot.risks import chance_of_acceptance
from compare.lot.samples import Sample
from compare.lot.statistics import Grouping, Statistics, Subgroups
from compare.report import svg

Array = NDArray[np.float64]

WIDTH: Final = 720.0
HEIGHT: Final = 270.0
LEFT: Final = 58.0
RIGHT: Final = 150.0  # room for the words at the ends of the lines
TOP: Final = 16.0
BOTTOM: Final = 40.0
MOST_POINTS: Final = 240  # a chart with more values is drawn by blocks


@dataclass(frozen=True, slots=True)
class Axes:
    """From values to places in a chart of the usual size."""

    x0: float
    x1: float
    y0: float
    y1: float

    def x(self, v: ArrayLike) -> Array:
        """Return places across."""
        share = (np.asarray(v, dtype=float) - self.x0) / (self.x1 - self.x0)
        return np.asarray(LEFT + share * (WIDTH - LEFT - RIGHT))

    def y(self, v: ArrayLike) -> Array:
        """Return places down."""
        share = (np.asarray(v, dtype=float) - self.y0) / (self.y1 - self.y0)
        return np.asarray(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM))


def _frame(parts: Sequence[Markup], spoken: str, *, height: float = HEIGHT) -> Markup:
    title = svg.element("title", str(escape(spoken)))
    return svg.element(
        "svg",
        str(svg.together([title, *parts])),
        viewBox=f"0 0 {svg.num(WIDTH)} {svg.num(height)}",
        class_="chart",
        role="img",
        aria_label=spoken,
    )


def _ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values between two ends."""
    rough = (high - low) / most
    power = 10 ** math.floor(math.log10(rough))
    step = next(s * power for s in (1, 2, 2.5, 5, 10) if s * power >= rough)
    first = math.ceil(low / step)
    return [k * step for k in range(first, math.floor(high / step) + 1)]


def _across(axes: Axes, value: float, css: str) -> Markup:
    y = float(axes.y(value))
    return svg.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), css)


def _spread_words(rows: list[tuple[float, str, str]]) -> list[Markup]:
    """Write words at the right ends of lines, moved apart so that none covers another."""
    out: list[Markup] = []
    last = -math.inf
    for y, text, css in sorted(rows):
        last = max(y + 4, last + 15)
        out.append(svg.words(text, WIDTH - RIGHT + 8, last, css))
    return out


def _scale(axes: Axes, unit: str) -> list[Markup]:
    out = [svg.words(unit, LEFT - 8, TOP - 3, "axis", anchor="end")]
    for v in _ticks(axes.y0, axes.y1):
        y = float(axes.y(v))
        out.append(svg.line(np.array([[LEFT - 4, y], [LEFT, y]]), "tick"))
        out.append(svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", LEFT - 8, y + 4, "axis", anchor="end"))
    return out


def mark(x: float, y: float, verdict: Verdict, title: str) -> Markup:
    """Return a point whose shape tells the verdict: disc conforms, diamond does not, square is unsure."""
    inside = str(svg.element("title", str(escape(title))))
    css = {Verdict.CONFORMS: "mark in", Verdict.FAILS: "mark out", Verdict.OPEN: "mark doubt"}[verdict]
    if verdict is Verdict.CONFORMS:
        return svg.element("circle", inside, cx=x, cy=y, r=4.0, class_=css)
    if verdict is Verdict.FAILS:
        return svg.element(
            "path", inside, d=f"M{svg.num(x - 6.5)} {svg.num(y)}l6.5 -6.5l6.5 6.5l-6.5 6.5z", class_=css
        )
    return svg.element("rect", inside, x=x - 4, y=y - 4, width=8.0, height=8.0, class_=css)


def _reach(low: float, high: float, values: Array, extra: Sequence[float]) -> tuple[float, float]:
    """Return ends of a scale that show all values and the limits."""
    shown = [v for v in (*values, *extra, low, high, 0.0) if math.isfinite(v)]
    bottom, top = min(shown), max(shown)
    room = 0.06 * (top - bottom or 1.0)
    return bottom - room, top + room


def run_chart(s: Statistics, samples: Sequence[Sample], rule: Rule = Rule.GUARDED) -> Markup:
    """Return the deviations in the order the samples were made, with limits, control limits and course."""
    chart = s.chart
    control = [] if chart is None else [float(chart.lower[0]), float(chart.upper[0])]
    y0, y1 = _reach(s.low, s.high, s.values, control)
    axes = Axes(-0.5, s.n - 0.5, y0, y1)
    parts = _scale(axes, s.unit if s.unit == "mm" else "deg")
    words: list[tuple[float, str, str]] = []
    for value, text in ((s.high, "allowed"), (s.low, "allowed")):
        if math.isfinite(value):
            parts.append(_across(axes, value, "limit"))
            words.append((float(axes.y(value)), f"{text} {value:+.2f}", "axis strong"))
    for value in control:
        parts.append(_across(axes, value, "control"))
        words.append((float(axes.y(value)), f"control {value:+.2f}", "axis"))
    parts.append(_across(axes, 0.0, "nominal"))
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
        parts.append(_across(axes, s.mean, "mean"))
        words.append((float(axes.y(s.mean)), f"mean {s.mean:+.2f}", "axis"))
    parts += _points(s, samples, axes, rule)
    parts += _sample_names(s, samples, axes)
    return _frame([*parts, *_spread_words(words)], f"{s.name} of {s.n} samples in order")


def _points(s: Statistics, samples: Sequence[Sample], axes: Axes, rule: Rule) -> list[Markup]:
    out = [svg.line(np.column_stack([axes.x(np.arange(s.n)), axes.y(s.values)]), "trace")]
    if s.n > MOST_POINTS:
        return out
    for k, i in enumerate(s.samples):
        reading = samples[i].readings[s.name]
        title = f"{samples[i].when}: {reading.deviation:+.2f} ±{2 * reading.u:.2f} {s.unit}"
        out.append(mark(float(axes.x(k)), float(axes.y(s.values[k])), reading.verdict(rule), title))
    return out


def _sample_names(s: Statistics, samples: Sequence[Sample], axes: Axes) -> list[Markup]:
    step = max(-(-s.n // 14), 1)
    y = HEIGHT - BOTTOM + 16
    out = [
        svg.words(samples[s.samples[k]].name, float(axes.x(k)), y, "axis", anchor="middle")
        for k in range(0, s.n, step)
    ]
    out.append(svg.words("sample", LEFT - 8, y, "axis", anchor="end"))
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
    y0, y1 = _reach(*allowed, chart.values, limits)
    k = len(chart.values)
    axes = Axes(-0.5, k - 0.5, y0, y1)
    parts = _scale(axes, s.unit if s.unit == "mm" else "deg")
    words: list[tuple[float, str, str]] = []
    for value in allowed:
        if math.isfinite(value):
            parts.append(_across(axes, value, "limit"))
            words.append((float(axes.y(value)), f"allowed {value:+.2f}", "axis strong"))
    for value in limits:
        parts.append(_across(axes, value, "control"))
        words.append((float(axes.y(value)), f"control {value:+.2f}", "axis"))
    parts.append(_across(axes, chart.centre, "mean"))
    words.append((float(axes.y(chart.centre)), f"mean {chart.centre:+.2f}", "axis"))
    at = axes.x(np.arange(k))
    parts.append(svg.line(np.column_stack([at, axes.y(chart.values)]), "trace"))
    for j in range(k):
        verdict = Verdict.FAILS if j in chart.outside else Verdict.CONFORMS
        title = f"{names[j]}: {chart.values[j]:+.2f} {s.unit}"
        parts.append(mark(float(at[j]), float(axes.y(chart.values[j])), verdict, title))
    step = max(-(-k // 8), 1)
    y = HEIGHT - BOTTOM + 16
    parts += [svg.words(shown[j], float(at[j]), y, "axis", anchor="middle") for j in range(0, k, step)]
    return _frame([*parts, *_spread_words(words)], f"{chart.kind} of {s.name}")


def histogram(s: Statistics) -> Markup:
    """Return how the deviations are spread, with the limits and the normal curve of the same spread."""
    y_top = HEIGHT - 70
    low, high = _reach(s.low, s.high, s.values, ())
    count = int(min(max(round(2 * s.n ** (1 / 3)), 5), 24))
    heights, edges = np.histogram(s.values, bins=count)
    tallest = max(int(heights.max()), 1)

    def x(v: float) -> float:
        return LEFT + (v - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    base = y_top
    parts: list[Markup] = []
    for height, a, b in zip(heights, edges[:-1], edges[1:], strict=True):
        if height:
            top = base - float(height) / tallest * (base - TOP - 14)
            parts.append(
                svg.element(
                    "rect",
                    x=x(a) + 0.5,
                    y=top,
                    width=max(x(b) - x(a) - 1, 1.0),
                    height=base - top,
                    class_="column",
                )
            )
            parts.append(svg.words(str(height), (x(a) + x(b)) / 2, top - 4, "axis", anchor="middle"))
    if s.sd > 0:
        grid = np.linspace(low, high, 121)
        density = np.exp(-0.5 * ((grid - s.mean) / s.sd) ** 2) / (s.sd * math.sqrt(2 * math.pi))
        scaled = density * s.n * float(edges[1] - edges[0]) / tallest
        line = np.column_stack([[x(v) for v in grid], base - scaled * (base - TOP - 14)])
        parts.append(svg.line(line, "course"))
    for value in (s.low, s.high):
        if math.isfinite(value):
            parts.append(svg.line(np.array([[x(value), TOP], [x(value), base]]), "limit"))
    for v in _ticks(low, high):
        parts.append(
            svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", x(v), base + 16, "axis", anchor="middle")
        )
    parts.append(svg.line(np.array([[LEFT, base], [WIDTH - RIGHT, base]]), "tick"))
    return _frame(parts, f"how {s.name} is spread over {s.n} samples", height=HEIGHT - 45)


def pareto(causes: Sequence[Frequent], judged: int) -> Markup:
    """Return the causes named, the most frequent first, with the share of samples they reach together."""
    rows = list(causes[:8])
    step, left = 30.0, 240.0
    widest = max(c.count for c in rows)
    height = TOP + step * len(rows) + 8
    parts: list[Markup] = []
    reached: set[str] = set()
    for k, c in enumerate(rows):
        y = TOP + k * step
        width = c.count / widest * (WIDTH - left - 230)
        reached |= set(c.which)
        parts.append(svg.words(c.name, left - 10, y + 15, "axis strong", anchor="end"))
        parts.append(
            svg.element(
                "rect",
                x=left,
                y=y + 2,
                width=width,
                height=18.0,
                class_="column culprit" if k == 0 else "column",
            )
        )
        text = f"{c.count} of {judged}, mean {c.mean_mm:+.1f} mm; so far {len(reached)}"
        parts.append(svg.words(text, left + width + 8, y + 15, "axis"))
    return _frame(parts, "causes by how many samples they are named in", height=height)


def group_chart(s: Statistics, grouping: Grouping) -> Markup:
    """Return the mean of every group with its 95 % interval, against the limits."""
    groups = grouping.groups
    ends = [g.mean + k * g.half_width for g in groups for k in (-1, 1) if math.isfinite(g.half_width)]
    low, high = _reach(s.low, s.high, np.array([g.mean for g in groups]), ends)
    step = 30.0
    height = TOP + step * len(groups) + 34

    def x(v: float) -> float:
        return LEFT + 90 + (v - low) / (high - low) * (WIDTH - LEFT - 90 - RIGHT)

    base = TOP + step * len(groups) + 4
    parts = [
        svg.line(np.array([[x(v), TOP - 4], [x(v), base]]), css)
        for v, css in ((s.low, "limit"), (s.high, "limit"), (0.0, "nominal"))
        if math.isfinite(v)
    ]
    for k, g in enumerate(groups):
        y = TOP + k * step + 12
        parts.append(svg.words(f"{grouping.column} {g.label}", LEFT + 80, y + 5, "axis strong", anchor="end"))
        if math.isfinite(g.half_width):
            parts.append(
                svg.line(np.array([[x(g.mean - g.half_width), y], [x(g.mean + g.half_width), y]]), "whisker")
            )
        parts.append(svg.element("circle", cx=x(g.mean), cy=y, r=5.0, class_="mark in"))
        parts.append(svg.words(f"{g.mean:+.2f} {s.unit}, n {g.n}", WIDTH - RIGHT + 8, y + 5, "axis"))
    for v in _ticks(low, high):
        parts.append(
            svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", x(v), base + 16, "axis", anchor="middle")
        )
    return _frame(parts, f"{s.name} by {grouping.column}", height=height)


def acceptance_chart(n: int, accept: int, aql: float) -> Markup:
    """Return the chance that a lot is accepted, by its nonconforming share (operating characteristic)."""
    far = min(max(10 * aql / 100, 8 / n), 1.0)
    shares = np.linspace(0, far, 161)
    axes = Axes(0, far, 0, 1)
    parts: list[Markup] = []
    for v in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = float(axes.y(v))
        parts.append(svg.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), "grid"))
        parts.append(svg.words(f"{100 * v:.0f} %", LEFT - 8, y + 4, "axis", anchor="end"))
    for v in _ticks(0, 100 * far):
        parts.append(
            svg.words(f"{v:g} %", float(axes.x(v / 100)), HEIGHT - BOTTOM + 16, "axis", anchor="middle")
        )
    curve = np.column_stack([axes.x(shares), axes.y(chance_of_acceptance(n, accept, shares))])
    parts.append(svg.line(curve, "course"))
    x = float(axes.x(aql / 100))
    parts.append(svg.line(np.array([[x, TOP], [x, HEIGHT - BOTTOM]]), "since"))
    parts.append(svg.words(f"AQL {aql:g} %", x + 5, HEIGHT - BOTTOM - 8, "axis strong"))
    parts.append(svg.words("of the lot", WIDTH - RIGHT + 16, HEIGHT - BOTTOM + 2, "axis"))
    parts.append(svg.words("nonconforming", WIDTH - RIGHT + 16, HEIGHT - BOTTOM - 13, "axis"))
    return _frame(parts, f"chance of acceptance with {n} samples and {accept} allowed")


def history_chart(
    values: Array,
    lots: Sequence[str],
    means: Array,
    sds: Array,
    low: float,
    high: float,
    name: str,
    unit: str,
) -> Markup:
    """Return means of lots with twice their spread, in order; many lots are drawn by blocks.

    Parameters
    ----------
    values : all deviations; they set the scale. lots, means, sds : per lot.
    """
    k = len(means)
    size = -(-k // MOST_POINTS)
    starts = np.arange(0, k, size)
    shown = np.array([means[a : a + size].mean() for a in starts])
    spread = np.sqrt([np.mean(np.nan_to_num(sds[a : a + size]) ** 2) for a in starts])
    y0, y1 = _reach(
        low,
        high,
        np.concatenate([shown - 2 * spread, shown + 2 * spread]),
        (float(values.min()), float(values.max())),
    )
    axes = Axes(-0.5, len(shown) - 0.5, y0, y1)
    at = axes.x(np.arange(len(shown)))
    parts = _scale(axes, "mm" if unit == "mm" else "deg")
    words: list[tuple[float, str, str]] = [(float(axes.y(0.0)), "design", "axis")]
    for value in (low, high):
        if math.isfinite(value):
            parts.append(_across(axes, value, "limit"))
            words.append((float(axes.y(value)), f"allowed {value:+.2f}", "axis strong"))
    parts.append(_across(axes, 0.0, "nominal"))
    for x, m, sd in zip(at, shown, spread, strict=True):
        parts.append(svg.line(np.array([[x, axes.y(m - 2 * sd)], [x, axes.y(m + 2 * sd)]]), "whisker thin"))
    parts.append(svg.line(np.column_stack([at, axes.y(shown)]), "course"))
    if len(shown) <= 60:
        parts += [
            svg.element("circle", cx=float(x), cy=float(axes.y(m)), r=4.0, class_="mark in")
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
    return _frame([*parts, *_spread_words(words)], f"{name} over the lots")
