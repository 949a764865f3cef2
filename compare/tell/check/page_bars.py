"""Bars of the report: a deviation against its tolerance with its uncertainty, and what makes a half lean."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from compare.tell.draw import svg
from compare.tell.draw.verdict_marks import verdict_mark
from compare.verdict.conformity import Item

WIDTH: Final = 200.0
HEIGHT: Final = 26.0


def half_range(items: Sequence[Item]) -> float:
    """Return the deviation at the end of the bars of one table: all fit, but none is squeezed too much."""
    limits = [abs(v) for i in items for v in (i.low, i.high) if math.isfinite(v)]
    reach = [abs(i.deviation) + i.expanded for i in items if math.isfinite(i.deviation)]
    widest = max(limits, default=0.0) or max(reach, default=0.0) or 1.0
    usual = sorted(limits)[len(limits) // 2] if limits else widest
    return min(max([1.2 * widest, *(1.05 * r for r in reach)]), max(1.2 * widest, 3 * usual))


def deviation_bar(item: Item, reach: float, spoken: str) -> Markup:
    """Return the bar of one item.

    Parameters
    ----------
    item : what was compared.
    reach : deviation at either end of the bar.
    spoken : what the bar says, for those who do not see it.
    """
    middle, y = WIDTH / 2, HEIGHT / 2
    scale = (middle - 10) / reach

    def at(v: float) -> float:
        return middle + max(min(v, reach), -reach) * scale

    low = at(item.low) if math.isfinite(item.low) else 0.0
    high = at(item.high) if math.isfinite(item.high) else WIDTH
    parts = [
        svg.element("title", spoken),
        svg.element("rect", x=low, y=4.0, width=high - low, height=HEIGHT - 8, class_="zone"),
        svg.element("path", d=f"M{svg.num(middle)} 2V{svg.num(HEIGHT - 2)}", class_="zero"),
    ]
    d, u = item.deviation, item.expanded
    if math.isfinite(d) and abs(d) > reach:  # beyond the bar: an arrow at its end
        tip = WIDTH - 1 if d > 0 else 1.0
        step = -9 if d > 0 else 9
        arrow = f"M{svg.num(tip + step)} {svg.num(y - 7)}L{svg.num(tip)} {svg.num(y)}L{svg.num(tip + step)} "
        parts.append(svg.element("path", d=arrow + svg.num(y + 7), class_="beyond"))
    elif math.isfinite(d) and math.isfinite(u):
        a, b = at(d - u), at(d + u)
        whisker = f"M{svg.num(a)} {svg.num(y)}H{svg.num(b)}M{svg.num(a)} {svg.num(y - 4)}v8"
        parts.append(svg.element("path", d=f"{whisker}M{svg.num(b)} {svg.num(y - 4)}v8", class_="whisker"))
        parts.append(verdict_mark(at(d), y, item.verdict))
    return svg.element(
        "svg",
        svg.together(parts),
        viewBox=f"0 0 {svg.num(WIDTH)} {svg.num(HEIGHT)}",
        class_="bar",
        role="img",
        aria_label=spoken,
    )


@dataclass(frozen=True, slots=True)
class Share:
    """One row of the chart of a lean: what it is, degrees, its U (nan = none), kind for the style."""

    label: str
    deg: float
    expanded: float
    kind: str


ROW: Final = 30.0
LABELS: Final = 178.0
FIGURES: Final = 104.0
PLOT: Final = 300.0


def lean_chart(shares: Sequence[Share], limit: tuple[float, float], title: str) -> Markup:
    """Return horizontal bars of what makes a half lean; the allowed band lies behind the sum's row.

    Parameters
    ----------
    shares : rows from top to bottom; the last is the whole.
    limit : lowest and highest lean allowed, degrees.
    title : what the chart says, for those who do not see it.
    """
    ends = [abs(s.deg) + (s.expanded if math.isfinite(s.expanded) else 0.0) for s in shares]
    reach = max([*ends, *(abs(v) for v in limit if math.isfinite(v)), 0.1]) * 1.1
    middle = LABELS + PLOT / 2
    scale = PLOT / 2 / reach
    height = ROW * len(shares) + 22
    low, high = (middle + v * scale for v in limit)
    parts = [
        svg.element("title", title),
        svg.element("rect", x=low, y=0.0, width=high - low, height=ROW * len(shares), class_="zone"),
        svg.element("path", d=f"M{svg.num(middle)} 0V{svg.num(ROW * len(shares))}", class_="zero"),
    ]
    for i, s in enumerate(shares):
        y = ROW * (i + 0.5)
        x = middle + s.deg * scale
        parts.append(svg.words(s.label, LABELS - 8, y + 5, f"label {s.kind}", anchor="end"))
        parts.append(
            svg.element(
                "rect",
                x=min(middle, x),
                y=y - 8,
                width=max(abs(x - middle), 1.0),
                height=16.0,
                class_=f"share {s.kind}",
            )
        )
        if math.isfinite(s.expanded):
            a, b = x - s.expanded * scale, x + s.expanded * scale
            parts.append(svg.element("path", d=f"M{svg.num(a)} {svg.num(y)}H{svg.num(b)}", class_="whisker"))
        known = f" ± {s.expanded:.1f}" if math.isfinite(s.expanded) else ""
        figure = f"{round(s.deg, 1) + 0.0:+.1f}°{known}"
        parts.append(svg.words(figure, LABELS + PLOT + FIGURES, y + 5, f"figure {s.kind}", anchor="end"))
    y = ROW * len(shares) + 15
    parts.append(svg.words("◂ outer edge too low", LABELS, y, "axis"))
    parts.append(svg.words("outer edge too high ▸", LABELS + PLOT, y, "axis", anchor="end"))
    return svg.element(
        "svg",
        svg.together(parts),
        viewBox=f"0 0 {svg.num(LABELS + PLOT + FIGURES)} {svg.num(height)}",
        class_="chart",
        role="img",
        aria_label=title,
    )
