"""Where strips stop on a page: the page's level as its feet tell it, wherever the page's own edge lies.

In a real spread the page's cut edge lies in front of the strips' near ends, at a depth nobody knows, and so
looks too low; its thickness is not always known either. But a strip's near end is seen down to the page and
no farther. Each foot tells the level to half a millimetre; together they tell which edges can be the page's.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FootTuning:
    """How feet are read. Found on 25 independent photographs with truth, set back and flush.

    Attributes
    ----------
    reach_mm : a page is sought this far above and below where its edge was taken to lie: 60 mm in front of
        the near ends at 10 degrees look 11 mm low.
    window_mm : so much of a strip above its foot, and of what lies below, is compared.
    step_mm : spacing of places along a strip, and of levels tried.
    across_mm : a near end may be this far off its fitted line close to the foot.
    seen : evidence (log-likelihood units) from which on a near end is rather there than not.
    clear, fair : contrast (share seen above less share seen below, -2 to 2) of a foot that counts in full,
        and of one that counts at all.
    clear_sd_mm, fair_sd_mm : scatter of a clear and of a fair foot about the true level.
    common_sd_mm : what all feet of a photo have in common beside that: tabs, bends, shadows.
    agree_mm : feet that stand on one line lie within so much of it.
    majority : share of all feet (a clear one counts more) that must agree before their scatter is believed.
    tilt_sd : how far the page may slant against the line it was taken for (rise per length).
    least_spread : feet nearer together (standard deviation, share of the line) are taken as so far apart.
    least_rise : strips that lie nearly along the page tell nothing.
    """

    reach_mm: float = 12.0
    window_mm: float = 4.0
    step_mm: float = 0.1
    across_mm: float = 0.1
    seen: float = 9.0
    clear: float = 1.3
    fair: float = 1.0
    clear_sd_mm: float = 0.45
    fair_sd_mm: float = 1.0
    common_sd_mm: float = 0.3
    agree_mm: float = 1.2
    majority: float = 0.6
    tilt_sd: float = 0.05
    least_spread: float = 0.1
    least_rise: float = 0.2


TUNING = FootTuning()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FootLevel:
    """The level of a page as its feet tell it.

    Attributes
    ----------
    curve : the line of the joints, half a card above the page.
    sd_mm : standard uncertainty of its level; tilt_sd_mm : of either end against the other.
    feet : how many strips tell it.
    agreed : whether most of them agree; where they do not, any of them may be right, or none.
    """

    curve: Curve
    sd_mm: float
    tilt_sd_mm: float
    feet: int
    agreed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stop:
    """Where one strip stops: place along the page's line, height above it, standard deviation, all mm."""

    along_mm: float
    up_mm: float
    sd_mm: float


def level_by_feet(scene: Scene, line: Curve, strips: Sequence[Curve], up: float) -> FootLevel | None:
    """Return the level at which strips stop; None if fewer than two show where.

    Parameters
    ----------
    line : rough line of the joints along the page.
    strips : near ends of the strips that stand on it, from the foot up.
    up : +1 if up is to the left of the line.
    """
    stops = [stop for stop in (_stop_of(scene, line, strip, up) for strip in strips) if stop is not None]
    if len(stops) < 2:
        return None
    x = np.array([s.along_mm for s in stops]) / line.length - 0.5
    y = np.array([s.up_mm for s in stops])
    sd = np.array([s.sd_mm for s in stops])
    agree = _agreeing(x, y, sd, line.length)
    level, tilt, cov = _line_through(x[agree], y[agree], sd[agree], line.length)
    # The level where the feet stand, not at the middle of the line, is what they tell.
    at = float(np.average(x[agree], weights=sd[agree] ** -2.0))
    level_sd = float(np.sqrt(cov[0, 0] + 2 * at * cov[0, 1] + at**2 * cov[1, 1]))
    agreed = bool(np.sum(sd[agree] ** -1.0) >= TUNING.majority * np.sum(sd**-1.0))
    tilt_sd = float(np.sqrt(cov[1, 1]))
    if not agreed:  # any of them may be right: the line may run through any two
        level_sd = float(np.hypot(level_sd, np.std(y)))
        tilt_sd = float(np.hypot(tilt_sd, 2 * np.std(y) / max(np.std(x), TUNING.least_spread)))
    d0, d1 = level - tilt / 2, level + tilt / 2
    return FootLevel(
        curve=replace(line, d0=up * d0, d1=up * d1).straightened(),
        sd_mm=float(np.hypot(level_sd, TUNING.common_sd_mm)),
        tilt_sd_mm=tilt_sd / 2,
        feet=len(stops),
        agreed=agreed,
    )


def _line_through(x: Array, y: Array, sd: Array, length_mm: float) -> tuple[float, float, Array]:
    """Level at x = 0, tilt (rise per unit of x), and their covariance (2, 2), of feet at x with heights y."""
    design = np.column_stack([np.ones_like(x), x]) / sd[:, None]
    normal = design.T @ design + np.diag([0.0, (TUNING.tilt_sd * length_mm) ** -2.0])
    level, tilt = np.linalg.solve(normal, design.T @ (y / sd))
    return float(level), float(tilt), np.asarray(np.linalg.inv(normal), dtype=np.float64)


def _agreeing(x: Array, y: Array, sd: Array, length_mm: float) -> NDArray[np.bool_]:
    """Which feet stand on one line: those nearest to the best of the lines through any one or two of them."""
    best, chosen = -np.inf, np.ones(len(x), dtype=bool)
    for i in range(len(x)):
        for j in range(i, len(x)):
            few = np.unique([i, j])
            level, tilt, _ = _line_through(x[few], y[few], sd[few], length_mm)
            near = np.abs(y - level - tilt * x) < TUNING.agree_mm
            worth = float(np.sum(1.0 / sd[near])) - 0.5 * (tilt / (TUNING.tilt_sd * length_mm)) ** 2
            if worth > best:
                best, chosen = worth, near
    return chosen


def _stop_of(scene: Scene, line: Curve, strip: Curve, up: float) -> _Stop | None:
    """Return where a strip's near end stops being seen; None if that does not show."""
    foot = crossing(line, strip)
    rise = float(strip.tangent @ line.normal) * up
    if not np.all(np.isfinite(foot)) or abs(rise) < TUNING.least_rise:
        return None
    step, reach, window = TUNING.step_mm, TUNING.reach_mm, TUNING.window_mm
    heights = np.arange(-reach - window, reach + window + step / 2, step)
    start = float((foot - strip.a) @ strip.tangent)
    along = np.sort(start + heights / rise)
    evidence = scene.edges.scan(
        strip,
        along / strip.length,
        reach_mm=TUNING.across_mm,
        step_mm=TUNING.across_mm / 2,
        template=scene.template(strip),
    )
    # Each place says yes or no, half-heartedly near the threshold.
    seen = np.clip(evidence.score.max(axis=1) / TUNING.seen - 1.0, -1.0, 1.0)[:: 1 if rise > 0 else -1]
    total = np.concatenate([[0.0], np.cumsum(seen)])
    n = int(round(window / step))
    levels = np.arange(n, len(heights) - n)
    contrast = (total[levels + n] - 2 * total[levels] + total[levels - n]) / n
    best = int(np.argmax(contrast))
    if contrast[best] < TUNING.fair:
        return None
    up_mm = float(heights[levels[best]] - step / 2)
    # The strip leaves its foot along its own direction.
    at = crossing(replace(line, d0=up * up_mm, d1=up * up_mm).straightened(), strip)
    sd = TUNING.clear_sd_mm if contrast[best] >= TUNING.clear else TUNING.fair_sd_mm
    return _Stop(along_mm=float((at - line.a) @ line.tangent), up_mm=up_mm, sd_mm=sd)
