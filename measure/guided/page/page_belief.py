"""Which line of a page to believe: its edge's, if that lies at the near ends, or that of the feet.

A page's cut edge tells its line to a tenth of a millimetre if the page is cut flush with the strips, and only
its slope if it lies somewhere in front of them. Feet tell the level always, to some tenths, and the slope if
they stand far apart. A dummy that lies flat stands on the sheet's own table, nearly always. How well all this
agrees says which it is: every explanation has its line, its doubt and its weight, and the answer is the mean
of all of them with the covariance of the whole mixture: as doubtful as they are apart, in level and in slope.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.guided.page.foot_level import FootLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class BeliefTuning:
    """How explanations of a page's line are weighed.

    Attributes
    ----------
    flush : how often a page is cut flush with the strips, before anything is looked at.
    told, told_rare : how often its edge lies, and is seen, where the design says that it does; an edge seen
        there, as the feet are, is so much more rarely taken askew or off.
    lower_mm, higher_mm : an edge that is not the page's at the near ends is found anywhere within so much
        below the true level (the page's edge in front of them) or above it (shadows, prints).
    alike : how often such an edge runs along the page all the same: its own edge, in front.
    askew_mm : else its two ends are off by amounts that differ by anything within this.
    askew, askew_slope : how often the edge at the near ends is taken askew (shadows, short pages), and by how
        much (rise per length).
    both_off, both_off_mm : how often edge and feet, though they agree, are off together (a lit strip before
        the feet, tabs, a page thicker than told), and by how much; the heights tell it then.
    few_misread, enough_feet : how often feet mislead where they are fewer than so many: any two agree.
    misread, torn : how often feet mislead altogether: where most of them agree, and where they do not.
    misread_mm : over so much.
    height_sd_mm : how far the middle one of all heights may be off its nominal, in what is built by hand.
        Wide on purpose: it only keeps a level away at which every strip would be millimetres wrong.
    height_slope : how far heights may grow from side to side (mm per mm), likewise, ...
    few, least_run_mm : ... as strips tell it that stand farther apart than this; few are so many.
    one_wrong : where only two strips tell it, so often one of them is cut wrong.
    built_wrong, built_wrong_mm : so seldom all of them are off by more, over so much.
    on_table, table_slope : how often a page that lies flat runs along the sheet's own base line, and how
        nearly (rise per length).
    off_table_slope : and how nearly otherwise.
    """

    flush: float = 0.35
    told: float = 0.95
    told_rare: float = 0.05
    lower_mm: float = 9.0
    higher_mm: float = 30.0
    alike: float = 0.7
    askew_mm: float = 6.0
    askew: float = 0.2
    askew_slope: float = 0.015
    both_off: float = 0.12
    both_off_mm: float = 1.3
    few_misread: float = 0.3
    enough_feet: int = 3
    misread: float = 0.1
    torn: float = 0.5
    misread_mm: float = 20.0
    height_sd_mm: float = 1.0
    height_slope: float = 0.012
    few: int = 2
    one_wrong: float = 0.15
    least_run_mm: float = 8.0
    built_wrong: float = 0.05
    built_wrong_mm: float = 20.0
    on_table: float = 0.85
    table_slope: float = 0.009
    off_table_slope: float = 0.06


TUNING = BeliefTuning()


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """A strip that stands on the page, against its nominal length.

    Attributes
    ----------
    share : where it stands, 0 to 1 along the page's line.
    excess_mm : how much too long it would be, if it stood on the line of the feet.
    per_mm : how much longer it would be for each mm by which the page were lower.
    """

    share: float
    excess_mm: float
    per_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Belief:
    """The line believed.

    Attributes
    ----------
    curve : line of the joints.
    cov : (2, 2) covariance of the heights of its two ends, mm^2.
    flush : probability that the page's edge lies at the near ends and told the level.
    """

    curve: Curve
    cov: Array
    flush: float

    @property
    def sd_mm(self) -> float:
        """Standard uncertainty of the level at the line's middle."""
        return float(np.sqrt(self.cov.mean()))


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """One explanation: heights (2,) of the line's ends over the feet's, covariance (2, 2), log weight."""

    at: Array
    cov: Array
    log: float

    def also(self, rows: Array, values: Array, cov: Array) -> "_Line":
        """Return it with something more that was seen: rows (K, 2) @ heights = values (K,), to so much."""
        gain = self.cov @ rows.T
        total = rows @ gain + cov
        off = values - rows @ self.at
        by = np.linalg.solve(total, np.column_stack([off, gain.T]))
        size = float(np.linalg.slogdet(2 * np.pi * total)[1])
        return _Line(
            at=self.at + gain @ by[:, 0],
            cov=self.cov - gain @ by[:, 1:],
            log=self.log - 0.5 * float(off @ by[:, 0]) - 0.5 * size,
        )

    def sloping(self, mm: float, sd_mm: float) -> "_Line":
        """Return it with its end so much higher than its start, to so much."""
        return self.also(_SLOPE, np.array([mm]), np.array([[sd_mm**2]]))

    def weighed(self, by: float) -> "_Line":
        """Return it with its weight times so much."""
        return _Line(self.at, self.cov, self.log + float(np.log(max(by, 1e-300))))


_LEVEL = np.ones((2, 2))
_SLOPE = np.array([[-1.0, 1.0]])


def believed_level(
    edge: Curve,
    edge_sd_mm: float,
    feet: FootLevel,
    heights: Sequence[Height],
    at: float,
    up: float,
    *,
    own_sd_mm: float = 0.05,
    told: bool = False,
    level_slope_mm: float | None = None,
) -> Belief:
    """Weigh the line of the edge against that of the feet.

    Parameters
    ----------
    edge, edge_sd_mm : line of the joints as the page's edge has it, if it lies at the near ends, and how well
        that tells their level.
    feet : the line by the feet; it has the same base line as `edge`, nearly.
    heights : the strips that stand on it, against the design.
    at : where along the line the feet stand (0 to 1).
    up : +1 if up is to the left of the lines.
    own_sd_mm : how well either end of the edge is seen.
    told : whether the design tells where the edge lies.
    level_slope_mm : by how much the line's end would be higher than its start, over that of the feet, if it
        ran along the sheet; None where nothing says that it should.
    """
    prior = TUNING.told if told else TUNING.flush
    misread = TUNING.misread if feet.agreed else TUNING.torn
    if feet.feet < TUNING.enough_feet and not told:
        misread = max(misread, TUNING.few_misread)
    ends = np.array([0.0, 1.0])
    seen = up * ((edge.points(ends) - feet.curve.points(ends)) @ edge.normal)
    apart = float(seen @ np.array([1 - at, at]))
    stray = 1.0 / (TUNING.lower_mm if apart < 0 else TUNING.higher_mm)
    tilted = np.array([-at, 1 - at])
    of_feet = _Line(
        np.zeros(2), _LEVEL * feet.sd_mm**2 + 4 * feet.tilt_sd_mm**2 * np.outer(tilted, tilted), 0.0
    )
    edge_cov = _LEVEL * edge_sd_mm**2 + np.eye(2) * own_sd_mm**2
    runs = float(seen[1] - seen[0]), float(np.sqrt(2) * own_sd_mm)
    aside = (1 - prior) * stray
    elsewhere = 1.0 / (TUNING.misread_mm * TUNING.askew_mm)
    rare = TUNING.told_rare if told else 1.0
    askew, both_off = rare * TUNING.askew, rare * TUNING.both_off
    agreeing = prior * (1 - misread)
    wide_cov = edge_cov + np.outer(tilted, tilted) * (TUNING.askew_slope * feet.curve.length) ** 2
    both = of_feet.also(np.eye(2), seen, edge_cov)
    lines = [
        both.weighed(agreeing * (1 - askew - both_off)),
        of_feet.also(np.eye(2), seen, wide_cov).weighed(agreeing * askew),
        _Line(seen, edge_cov, 0.0).weighed(prior * misread * elsewhere),
        of_feet.sloping(*runs).weighed(aside * (1 - misread) * TUNING.alike),
        of_feet.weighed(aside * (1 - misread) * (1 - TUNING.alike) / TUNING.askew_mm),
    ]
    length = feet.curve.length
    lines = [
        line.weighed(_of_heights(heights, line.at) * _of_slope(heights, line.at, length)) for line in lines
    ]
    # Or neither edge nor feet tell the level: then the heights do, and the edge tells the slope.
    middle = float(np.median([h.excess_mm / h.per_mm for h in heights])) if heights else 0.0
    by_heights = _Line(seen - apart + middle, _LEVEL * TUNING.height_sd_mm**2 + np.eye(2) * runs[1] ** 2, 0.0)
    by_heights = by_heights.weighed(aside * misread * elsewhere * _of_slope(heights, by_heights.at, length))
    off = _Line(both.at, both.cov + _LEVEL * TUNING.both_off_mm**2 + wide_cov - edge_cov, both.log)
    if heights:
        off = off.also(np.array([1 - at, at])[None], np.array([middle]), np.array([[TUNING.height_sd_mm**2]]))
    rising = _slope(heights, np.zeros(2), length)
    if rising is not None:
        off = off.sloping(rising, TUNING.height_slope * length)
    lines += [by_heights, off.weighed(agreeing * both_off)]
    flush = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.5])
    if level_slope_mm is not None:
        near, far = TUNING.table_slope * length, TUNING.off_table_slope * length
        lines = [
            line.sloping(level_slope_mm, sd).weighed(share)
            for share, sd in ((TUNING.on_table, near), (1 - TUNING.on_table, far))
            for line in lines
        ]
        flush = np.tile(flush, 2)
    log = np.array([line.log for line in lines])
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    mean = np.sum([w * line.at for w, line in zip(weights, lines, strict=True)], axis=0)
    cov = np.sum(
        [
            w * (line.cov + np.outer(line.at - mean, line.at - mean))
            for w, line in zip(weights, lines, strict=True)
        ],
        axis=0,
    )
    along = feet.curve.points(ends) + up * mean[:, None] * feet.curve.normal
    return Belief(curve=Curve(a=along[0], b=along[1]), cov=cov, flush=float(weights @ flush))


def _excess(heights: Sequence[Height], ends: Array) -> Array:
    """How much too long (N,) every strip would be on a line with these heights (2,) over that of the feet."""
    return np.array([h.excess_mm - h.per_mm * ((1 - h.share) * ends[0] + h.share * ends[1]) for h in heights])


def _of_heights(heights: Sequence[Height], ends: Array) -> float:
    """Density (per mm) of the middle one of all heights being off its nominal as it would be on that line."""
    excess = float(np.median(_excess(heights, ends))) if heights else 0.0
    likely = _normal(excess, TUNING.height_sd_mm)
    return (1 - TUNING.built_wrong) * likely + TUNING.built_wrong / TUNING.built_wrong_mm


def _slope(heights: Sequence[Height], ends: Array, length_mm: float) -> float | None:
    """How much higher the line's end would have to be for heights not to grow from side to side; mm, or None.

    The slope is the median over all pairs of strips (Theil and Sen): one may be cut as wrong as it likes.
    """
    low = _excess(heights, ends) / np.array([h.per_mm for h in heights]) if heights else np.zeros(0)
    x = np.array([h.share for h in heights])
    slopes = [
        float((low[i] - low[j]) / (x[i] - x[j]))
        for i in range(len(x))
        for j in range(i)
        if abs(x[i] - x[j]) * length_mm > TUNING.least_run_mm
    ]
    return float(np.median(slopes)) if slopes else None


def _of_slope(heights: Sequence[Height], ends: Array, length_mm: float) -> float:
    """Density (per mm over the line's length) of heights growing from side to side as they would there."""
    slope = _slope(heights, ends, length_mm)
    if slope is None:
        return 1.0
    likely = _normal(slope, TUNING.height_slope * length_mm)
    wrong = TUNING.built_wrong if len(heights) > TUNING.few else TUNING.one_wrong
    return (1 - wrong) * likely + wrong / TUNING.built_wrong_mm


def _normal(x: float, sd: float) -> float:
    return float(np.exp(-0.5 * (x / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))
