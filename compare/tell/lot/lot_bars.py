"""Bars and curves of a lot as SVG: how a length is spread, causes, groups, and the risks of a plan."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from markupsafe import Markup

from compare.lot.lot_advice import Frequent
from compare.lot.plans.plan_risks import chance_of_acceptance
from compare.lot.study.lot_statistics import Statistics
from compare.lot.study.sample_groups import Grouping
from compare.tell.draw import svg
from compare.tell.draw.axes import ticks
from compare.tell.lot.lot_axes import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Axes, frame, reach

MOST_CAUSES: Final = 8


def histogram(s: Statistics) -> Markup:
    """Return how the deviations are spread, with the limits and the normal curve of the same spread."""
    y_top = HEIGHT - 70
    low, high = reach(s.low, s.high, s.values, ())
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
    for v in ticks(low, high):
        parts.append(
            svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", x(v), base + 16, "axis", anchor="middle")
        )
    parts.append(svg.line(np.array([[LEFT, base], [WIDTH - RIGHT, base]]), "tick"))
    return frame(parts, f"how {s.name} is spread over {s.n} samples", height=HEIGHT - 45)


def pareto(causes: Sequence[Frequent], judged: int) -> Markup:
    """Return the causes named, the most frequent first, with the share of samples they reach together."""
    rows = list(causes[:MOST_CAUSES])
    step, left = 48.0, 8.0
    widest = max(c.count for c in rows)
    parts: list[Markup] = []
    reached: set[str] = set()
    for k, c in enumerate(rows):
        y = TOP + k * step
        width = c.count / widest * (WIDTH - 2 * left)
        reached |= set(c.which)
        text = f"{c.count} of {judged}, mean {c.mean_mm:+.1f} mm; so far {len(reached)}"
        parts.append(svg.words(c.name, left, y + 8, "axis strong"))
        parts.append(svg.words(text, WIDTH - left, y + 8, "axis", anchor="end"))
        css = "column culprit" if k == 0 else "column"
        parts.append(svg.element("rect", x=left, y=y + 15, width=width, height=15.0, class_=css))
    return frame(parts, "causes by how many samples they are named in", height=TOP + step * len(rows))


def group_chart(s: Statistics, grouping: Grouping) -> Markup:
    """Return the mean of every group with its 95 % interval, against the limits."""
    groups = grouping.groups
    ends = [g.mean + k * g.half_width for g in groups for k in (-1, 1) if math.isfinite(g.half_width)]
    low, high = reach(s.low, s.high, np.array([g.mean for g in groups]), ends)
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
        parts.append(svg.element("circle", cx=x(g.mean), cy=y, r=5.0, class_="mark plain"))
        parts.append(svg.words(f"{g.mean:+.2f} {s.unit}, n {g.n}", WIDTH - RIGHT + 8, y + 5, "axis"))
    for v in ticks(low, high):
        parts.append(
            svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", x(v), base + 16, "axis", anchor="middle")
        )
    return frame(parts, f"{s.name} by {grouping.column}", height=height)


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
    for v in ticks(0, 100 * far):
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
    return frame(parts, f"chance of acceptance with {n} samples and {accept} allowed")
