"""The report's chart of the lean over the opening: photos with their U, all lengths together, the design."""

from collections.abc import Callable
from typing import Final

import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from compare.motion_seen.openings_seen import LeanCurve, MotionSeen
from compare.tell.draw import svg
from compare.verdict.conformity import COVERAGE

WIDTH: Final = 560.0
HEIGHT: Final = 220.0
LEFT: Final = 46.0
RIGHT: Final = 12.0
TOP: Final = 10.0
FOOT: Final = 40.0
LEAST_DEG: Final = 1.2
"""The chart reaches at least so far above and below level."""
TICK_DEG: Final = 30.0


def lean_over_opening(motion: MotionSeen, curve: LeanCurve, level_deg: float) -> Markup:
    """Return the chart of one half.

    Parameters
    ----------
    level_deg : how far it may lean off its design; drawn as a band.
    """
    seen = [(o.opening_deg, n) for o in motion.openings for n in o.leans if n.half == curve.half]
    reach = [abs(n.seen_deg) + COVERAGE * n.seen_u_deg for _, n in seen]
    drawn = np.concatenate([curve.design_deg, curve.fitted_deg])
    near = drawn[np.isfinite(drawn)]
    most = 1.1 * max([LEAST_DEG, level_deg, *reach, *np.abs(near[np.abs(near) < 3 * max(reach, default=1)])])
    widest, narrowest = float(curve.openings_deg[0]), float(curve.openings_deg[-1])

    def x(deg: float | Array) -> Array:
        return np.asarray(LEFT + (widest - np.asarray(deg)) / (widest - narrowest) * (WIDTH - LEFT - RIGHT))

    def y(deg: float | Array) -> Array:
        middle = (TOP + HEIGHT - FOOT) / 2
        return np.asarray(middle - np.clip(np.asarray(deg), -most, most) / most * (middle - TOP))

    def points(values: Array) -> Array:
        keep = np.isfinite(values)
        return np.column_stack([x(curve.openings_deg[keep]), y(values[keep])])

    spoken = _spoken(motion, curve.half)
    parts = [
        svg.element("title", spoken),
        svg.element("path", d=f"{svg.path_d(_band(points, curve, level_deg))}Z", class_="zone"),
        svg.element(
            "path", d=f"M{svg.num(LEFT)} {svg.num(float(y(0.0)))}H{svg.num(WIDTH - RIGHT)}", class_="zero"
        ),
    ]
    for css, values in (("design", curve.design_deg), ("measured", curve.fitted_deg)):
        line = points(values)
        if len(line) > 1:
            parts.append(svg.line(line, css, "as designed" if css == "design" else "lengths of all photos"))
    for opening, n in seen:
        at, u = float(x(opening)), COVERAGE * n.seen_u_deg
        ends = f"M{svg.num(at)} {svg.num(float(y(n.seen_deg - u)))}V{svg.num(float(y(n.seen_deg + u)))}"
        parts.append(svg.element("path", d=ends, class_="whisker"))
        parts.append(svg.element("circle", cx=at, cy=float(y(n.seen_deg)), r=4.5, class_="joint"))
    first = np.floor(widest / TICK_DEG) * TICK_DEG
    for tick in np.arange(first, narrowest, -TICK_DEG):
        parts.append(svg.words(f"{tick:.0f}°", float(x(tick)), HEIGHT - FOOT + 16, "axis", anchor="middle"))
    for level in (-most / 1.1, 0.0, most / 1.1):
        parts.append(svg.words(f"{level + 0.0:+.1f}°", LEFT - 6, float(y(level)) + 4, "axis", anchor="end"))
    parts.append(svg.words(f"lean of the {curve.half} half over the opening", LEFT, HEIGHT - 6, "axis"))
    return svg.element(
        "svg",
        svg.together(parts),
        viewBox=f"0 0 {svg.num(WIDTH)} {svg.num(HEIGHT)}",
        class_="chart",
        role="img",
        aria_label=spoken,
    )


def _band(points: Callable[[Array], Array], curve: LeanCurve, level_deg: float) -> Array:
    """Return the outline of what is allowed about the design."""
    above, below = points(curve.design_deg + level_deg), points(curve.design_deg - level_deg)
    return np.vstack([above, below[::-1]])


def _spoken(motion: MotionSeen, half: str) -> str:
    """Return what the chart says, for those who do not see it."""
    told = [
        f"{n.seen_deg:+.1f} at {o.opening_deg:.0f} degrees (all lengths together {n.fitted_deg:+.1f})"
        for o in motion.openings
        for n in o.leans
        if n.half == half
    ]
    return f"Lean of the {half} half: {'; '.join(told)}"
