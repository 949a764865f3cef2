"""The gluing tab of a foot: an inked line on the page, beside the strip's lower end, on one side of it.

A tab lies ON the page at the near ends, whatever the page's own edge does further to the front. Its line is
looked for at every level along the strip, on either side; the strip's own ink must reach down to it and no
farther. A line on both sides at one level is something else: the page's own edge, print before the feet.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter1d

from capture.arrays import Array
from measure.edges.dark_line import DarkLine
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.inked.ink_fit import crest, line_score, look, places_along
from measure.inked.upper_edge import upper_edge
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class TabNumbers:
    """Numbers of the search for tabs; found on path-traced photographs of inked dummies."""

    width_mm: float = 18.0
    """Looked at on either side of the foot."""
    every_mm: float = 0.5
    step_mm: float = 0.05
    first_mm: float = 0.9
    last_mm: float = 7.0
    """A tab's line is seen from here to there, outward from the foot."""
    long_mm: float = 17.0
    long_share: float = 0.5
    """A line seen at that share of the places so far on both sides is the page's own edge, no tab ..."""
    above_long_mm: float = 0.2
    """... a tab lies clearly above it ..."""
    beside_long_mm: float = 0.08
    """... and where it is not seen as a line of its own, is not known better than this."""
    most_sd_mm: float = 0.1
    """A tab known worse than this is none."""
    grey: tuple[float, ...] = (1.0, 5.0, 10.0)
    """Times the ink's level: a pen that runs dry leaves a grey line."""
    slopes: tuple[float, ...] = (-0.03, -0.02, -0.01, 0.0, 0.01, 0.02, 0.03)
    """Against the page's direction."""
    cap: float = 30.0
    least: float = 25.0
    """Summed evidence below which there is no tab."""
    n_each_side: int = 4
    apart_mm: float = 0.2
    other_side: float = 0.7
    """What a line on the other side at the same level counts against a tab."""
    same_level_mm: float = 0.25
    above_it_mm: tuple[float, float] = (0.25, 1.5)
    """Another edge, on either side, that lies so much above a tab ..."""
    above_it: float = 0.7
    """... counts so much against it: what is lower is the page's own edge, or print before the feet."""
    seen: float = 4.0
    """Evidence for the strip's ink at a place: more speaks for the strip being there, less against."""
    strip_weight: float = 8.0
    """Log-likelihood units per mm of strip seen below a level, or not seen above it."""
    above_mm: float = 3.0
    below_mm: float = 2.0
    slope_stiffness: float = 0.05
    """How firmly a tab's slope is drawn to the page's, as a share of its stations' weight."""
    station_mm: float = 0.8
    line_share: float = 0.6
    """A tab seen as a line at fewer of its stations is placed by its upper edge."""
    gate_mm: float = 0.2
    fine_mm: float = 0.03
    station_least: float = 2.0
    """Evidence of a station used: little, for where the tab is is known by then."""
    least_share: float = 0.5
    least_stations: int = 4
    least_scatter_mm: float = 0.006


TUNED = TabNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TabPlace:
    """Where a foot's tab may be.

    Attributes
    ----------
    side : +1 if it runs along the page's direction from the foot, -1 against it.
    level_mm : height above the strip's first point, along the page's normal.
    slope : against the page's direction.
    score : evidence for tab and strip together; tab, strip : its parts.
    at : (2,) the foot at that level, on the strip's line.
    beside_edge : whether a page's own edge runs close below.
    """

    side: int
    level_mm: float
    slope: float
    score: float
    tab: float
    strip: float
    at: Array
    beside_edge: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tab:
    """A tab's fitted line, from near the foot outward, and how well its place at the foot is known.

    `two_sided` is the share of its stations that see it from both sides.
    """

    line: Curve
    sd_mm: float
    side: int
    two_sided: float


def tab_places(
    plane: MeasuringPlane, strip: Curve, along: Array, up: Array, line: DarkLine, reach_mm: float
) -> list[TabPlace]:
    """Return places of a foot's tab, the likeliest first.

    Parameters
    ----------
    strip : fitted line of the strip, its a near the foot.
    along, up : (2,) unit vectors along the page and up from it.
    reach_mm : how far up and down from strip.a the foot may be.
    """
    w, step = TUNED.width_mm, TUNED.step_mm
    base = Curve(a=strip.a - w * along, b=strip.a + w * along)
    t = np.arange(-w + TUNED.every_mm / 2, w, TUNED.every_mm)
    left = 1.0 if float(base.normal @ up) > 0 else -1.0
    # The line's middle lies half a card below the upper edge.
    offsets, score = _tab_score(plane, base, (t + w) / (2 * w), left, line, reach_mm)
    lean = float(strip.tangent @ along) / float(strip.tangent @ up)
    n = int(round(reach_mm / step))
    levels = np.linspace(-n * step, n * step, 2 * n + 1)
    from_foot = t[:, None] - levels * lean
    long = _long_line(score, offsets, from_foot, levels)
    sums: dict[int, tuple[Array, Array]] = {}
    for side in (-1, 1):
        there = (side * from_foot > TUNED.first_mm) & (side * from_foot < TUNED.last_mm)
        best, slope_of = np.full(len(levels), -1.0), np.zeros(len(levels))
        for slope in TUNED.slopes:
            k = np.rint((levels + slope * from_foot - offsets[0]) / step).astype(int)
            values = np.take_along_axis(score, np.clip(k, 0, score.shape[1] - 1), axis=1)
            total = np.sum(values * there, axis=0)
            if long is not None:
                clear = levels - long[0] + (slope - long[1]) * side * TUNED.last_mm / 2
                total = np.where(clear > TUNED.above_long_mm, total, -1.0)
            slope_of = np.where(total > best, slope, slope_of)
            best = np.maximum(best, total)
        sums[side] = (best, slope_of)
    strip_score = _strip_above(plane, strip, up, line, reach_mm)
    near = int(round(TUNED.same_level_mm / step))
    out: list[TabPlace] = []
    for side, (best, slope_of) in sums.items():
        other = sums[-side][0]
        for i in _crests(best):
            beside = float(other[max(i - near, 0) : i + near + 1].max())
            beside = beside if beside > TUNED.least else 0.0
            low, high = levels[i] + np.array(TUNED.above_it_mm)
            above = max(
                float(np.max(s[(levels > low) & (levels < high)], initial=0.0)) for s, _ in sums.values()
            )
            above = above if above > TUNED.least else 0.0
            level = float(levels[i])
            by_strip = float(strip_score(level))
            out.append(
                TabPlace(
                    side=side,
                    level_mm=level,
                    slope=float(slope_of[i]),
                    score=float(best[i]) - TUNED.other_side * beside - TUNED.above_it * above + by_strip,
                    tab=float(best[i]),
                    strip=by_strip,
                    at=strip.a + level * (up + lean * along),
                    beside_edge=long is not None,
                )
            )
    return sorted(out, key=lambda p: -p.score)


def _long_line(score: Array, offsets: Array, from_foot: Array, levels: Array) -> tuple[float, float] | None:
    """Level and slope of a line that runs on past the foot on both sides: a page's own edge; None: none."""
    step = float(offsets[1] - offsets[0])
    seen = maximum_filter1d(score, 3, axis=1) > TUNED.seen
    there = (np.abs(from_foot) > TUNED.first_mm) & (np.abs(from_foot) < TUNED.long_mm)
    best, found = TUNED.long_share, None
    for slope in TUNED.slopes:
        k = np.rint((levels + slope * from_foot - offsets[0]) / step).astype(int)
        values = np.take_along_axis(seen, np.clip(k, 0, score.shape[1] - 1), axis=1)
        share = np.sum(values & there, axis=0) / np.maximum(there.sum(axis=0), 1)
        i = int(np.argmax(share))
        if share[i] > best:
            best, found = float(share[i]), (float(levels[i]), slope)
    return found


def _tab_score(
    plane: MeasuringPlane, base: Curve, stations: Array, left: float, line: DarkLine, reach_mm: float
) -> tuple[Array, Array]:
    """Heights (K,) of a tab's middle above the base, and score (S, K): as a line, or by its upper edge."""
    step = TUNED.step_mm
    greys = [replace(line, level=times * line.level) for times in TUNED.grey]
    looks = [look(plane, base, stations, grey, reach_mm + 0.4, step) for grey in greys]
    offsets = looks[0].offsets_mm
    score = np.minimum(np.max([seen.dip for seen in looks], axis=0), TUNED.cap)
    if left < 0:
        score, offsets = score[:, ::-1], -offsets[::-1]
    above, evidence, _ = upper_edge(plane, base, stations, left, line, reach_mm + 0.7, step)
    # The line's middle lies half a card below the upper edge.
    first = int(round((offsets[0] + line.width_mm / 2 - above[0]) / step))
    by_edge = evidence[:, first : first + len(offsets)]
    return offsets, np.maximum(score, np.minimum(by_edge, TUNED.cap))


def _crests(values: Array) -> list[int]:
    """Return indices of the best values, best first, each some way from the better ones."""
    work, k = values.copy(), int(round(TUNED.apart_mm / TUNED.step_mm))
    out: list[int] = []
    for _ in range(TUNED.n_each_side):
        i = int(np.argmax(work))
        if work[i] < TUNED.least:
            break
        out.append(i)
        work[max(0, i - k) : i + k + 1] = -1.0
    return out


class _StripAbove:
    """Evidence for a foot's level: the strip's ink is seen above it and not below."""

    def __init__(self, heights: Array, seen: Array) -> None:
        self._heights = heights
        self._total = np.concatenate([[0.0], np.cumsum(seen)]) * float(heights[1] - heights[0])

    def __call__(self, level_mm: float) -> float:
        ends = level_mm + np.array([-TUNED.below_mm, 0.0, TUNED.above_mm])
        low, here, high = self._total[np.searchsorted(self._heights, ends)]
        return float(TUNED.strip_weight * ((high - here) - (here - low)))


def _strip_above(
    plane: MeasuringPlane, strip: Curve, up: Array, line: DarkLine, reach_mm: float
) -> _StripAbove:
    rise = float(strip.tangent @ up)
    low, high = -(reach_mm + TUNED.below_mm), reach_mm + TUNED.above_mm
    along = np.arange(low, high, 0.2) / rise
    seen = look(plane, strip, along / strip.length, line, 0.15, 0.05, smear_mm=0.2)
    share = np.clip(line_score(seen).max(axis=1) / TUNED.seen - 1.0, -1.0, 1.0)
    return _StripAbove(along * rise, share)


def fit_tab(
    plane: MeasuringPlane, strip: Curve, place: TabPlace, along: Array, up: Array, line: DarkLine
) -> Tab | None:
    """Fit a tab's line near the place found; None if it does not hold together."""
    ends = [place.at + place.side * x * (along + place.slope * up) for x in (TUNED.first_mm, TUNED.last_mm)]
    rough = Curve(a=ends[0], b=ends[1])
    s = stations_for(rough, 0.1, 0.1, TUNED.station_mm)
    two_sided, at, weight = _as_line(plane, rough, s, line)
    if two_sided < TUNED.line_share:
        at, weight = _by_upper_edge(plane, rough, s, up, line)
    if np.count_nonzero(weight) < TUNED.least_stations:
        return None
    basis = np.column_stack([np.ones_like(s), s])
    pull = np.diag([1e-9, TUNED.slope_stiffness * float(weight.sum())])
    w = weight
    coef: Array = np.zeros(2)
    rest: Array = at
    for _ in range(10):
        normal = basis.T @ (w[:, None] * basis) + pull
        coef = np.asarray(np.linalg.solve(normal, basis.T @ (w * at)), dtype=np.float64)
        rest = np.asarray(at - basis @ coef, dtype=np.float64)
        scatter = max(1.4826 * float(np.median(np.abs(rest[weight > 0]))), TUNED.least_scatter_mm)
        u = rest / (4.685 * scatter)
        w = weight * np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
    kept = w > 0
    n = int(np.count_nonzero(kept))
    if n < TUNED.least_stations or n < TUNED.least_share * len(s):
        return None
    rms = float(np.sqrt(np.sum(rest[kept] ** 2) / max(n - 2, 1)))
    inv = np.linalg.inv(basis.T @ (w[:, None] * basis) + pull)
    var = float((inv @ (basis.T @ ((w**2)[:, None] * basis)) @ inv)[0, 0]) * rms**2
    own = TUNED.beside_long_mm if place.beside_edge and two_sided < TUNED.line_share else 0.0
    sd = float(np.hypot(np.sqrt(2 * var), own))
    if sd > TUNED.most_sd_mm:
        return None
    return Tab(
        line=replace(rough, d0=float(coef[0]), d1=float(coef[0] + coef[1])).straightened(),
        sd_mm=sd,
        side=place.side,
        two_sided=two_sided,
    )


def _as_line(
    plane: MeasuringPlane, rough: Curve, stations: Array, line: DarkLine
) -> tuple[float, Array, Array]:
    """Share of stations at which a tab is seen as a line, lighter above and below; its places and weights."""
    seen = places_along(plane, rough, stations, line, TUNED.gate_mm, TUNED.station_least)
    weight = np.where(seen.two_sided, seen.weight, 0.0)
    return float(np.count_nonzero(weight)) / len(stations), seen.offset_mm, weight


def _by_upper_edge(
    plane: MeasuringPlane, rough: Curve, stations: Array, up: Array, line: DarkLine
) -> tuple[Array, Array]:
    """Places of a tab's middle and weights, from where its bright face ends."""
    left = 1.0 if float(rough.normal @ up) > 0 else -1.0
    down = left * line.width_mm / 2
    edge = replace(rough, d0=down, d1=down).straightened()
    offsets, evidence, misfit = upper_edge(plane, edge, stations, left, line, TUNED.gate_mm, TUNED.fine_mm)
    rows, k = np.arange(len(stations)), np.argmax(evidence, axis=1)
    good = (evidence[rows, k] > TUNED.station_least) & (k > 0) & (k < len(offsets) - 1)
    at = left * crest(misfit, offsets, np.clip(k, 1, len(offsets) - 2))
    return at, np.where(good, np.minimum(evidence[rows, k], TUNED.cap), 0.0)
