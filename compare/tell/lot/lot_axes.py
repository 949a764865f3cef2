"""Axes, scales and marks that the charts of a lot share."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike

from capture.arrays import Array
from compare.tell.draw import svg
from compare.tell.draw.axes import ticks

WIDTH: Final = 720.0
HEIGHT: Final = 270.0
LEFT: Final = 58.0
RIGHT: Final = 150.0  # room for the words at the ends of the lines
TOP: Final = 16.0
BOTTOM: Final = 40.0


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


def frame(parts: Sequence[Markup], spoken: str, *, height: float = HEIGHT) -> Markup:
    """Return the finished chart; spoken: what it shows, for those who do not see it."""
    title = svg.element("title", spoken)
    return svg.element(
        "svg",
        svg.together([title, *parts]),
        viewBox=f"0 0 {svg.num(WIDTH)} {svg.num(height)}",
        class_="chart",
        role="img",
        aria_label=spoken,
    )


def across(axes: Axes, value: float, css: str) -> Markup:
    """Return a line across the chart at a value."""
    y = float(axes.y(value))
    return svg.line(np.array([[LEFT, y], [WIDTH - RIGHT, y]]), css)


def spread_words(rows: list[tuple[float, str, str]]) -> list[Markup]:
    """Write words at the right ends of lines, moved apart so that none covers another."""
    out: list[Markup] = []
    last = -math.inf
    for y, text, css in sorted(rows):
        last = max(y + 4, last + 15)
        out.append(svg.words(text, WIDTH - RIGHT + 8, last, css))
    return out


def scale(axes: Axes, unit: str) -> list[Markup]:
    """Return the scale at the left, with its unit."""
    out = [svg.words(unit, LEFT - 8, TOP - 3, "axis", anchor="end")]
    for v in ticks(axes.y0, axes.y1):
        y = float(axes.y(v))
        out.append(svg.line(np.array([[LEFT - 4, y], [LEFT, y]]), "tick"))
        out.append(svg.words(f"{v:+g}" if abs(v) > 1e-12 else "0", LEFT - 8, y + 4, "axis", anchor="end"))
    return out


def reach(low: float, high: float, values: Array, extra: Sequence[float]) -> tuple[float, float]:
    """Return ends of a scale that show all values and the limits."""
    shown = [v for v in (*values, *extra, low, high, 0.0) if math.isfinite(v)]
    bottom, top = min(shown), max(shown)
    room = 0.06 * (top - bottom or 1.0)
    return bottom - room, top + room
