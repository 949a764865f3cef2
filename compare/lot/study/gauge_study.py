"""Gauge study: how much of the spread is the measuring itself, by whom and by what.

The same samples are photographed several times by several people (or phones). Repeatability is the spread of
one person's photos of one sample, reproducibility what changes from person to person. Two methods of the
Measurement Systems Analysis manual (AIAG, 4th edition 2010): analysis of variance of the crossed random
model, and average and range.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from capture.arrays import Array
from compare.lot.charts.chart_constants import constants

POOL_ABOVE: Final = 0.25  # an interaction less sure than this is taken for repeatability (AIAG MSA)
WIDTH: Final = 6.0  # study width in standard deviations (AIAG MSA 4th ed.)
GOOD: Final = 0.10  # share of the tolerance (AIAG MSA: under 10 % good, over 30 % not acceptable)
BEARABLE: Final = 0.30
ENOUGH_CATEGORIES: Final = 5
MOST_PHOTOS: Final = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table of variance; f and chance are nan where nothing is tested."""

    name: str
    squares: float
    freedom: int
    f: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """Outcome for one length, standard deviations in its unit.

    Attributes
    ----------
    repeatability, reproducibility : of a single photo; reproducibility holds the interaction.
    parts : of the samples themselves.
    method : "variance" or "range". pooled : the interaction was taken for repeatability.
    lines : table of variance; () for the range method.
    people, samples, photos : size of the study.
    """

    repeatability: float
    reproducibility: float
    parts: float
    method: str
    pooled: bool
    lines: tuple[Line, ...]
    people: int
    samples: int
    photos: int

    @property
    def measuring(self) -> float:
        """Standard deviation of the measuring as a whole (GRR)."""
        return math.hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        """Standard deviation of all that was seen."""
        return math.hypot(self.measuring, self.parts)

    @property
    def share_of_total(self) -> float:
        """Measuring over total, of standard deviations."""
        return self.measuring / self.total if self.total > 0 else math.nan

    @property
    def categories(self) -> int:
        """Number of distinct categories, rounded down: 1.41 parts / measuring."""
        return int(1.41 * self.parts / self.measuring) if self.measuring > 0 else 10**6

    def share_of_tolerance(self, width: float, photos: int = 1) -> float:
        """Return six standard deviations of the measuring over the width of the tolerance.

        Parameters
        ----------
        width : upper limit minus lower limit. photos : averaged per sample by one person; only
            repeatability shrinks with them.
        """
        sd = math.sqrt(self.repeatability**2 / photos + self.reproducibility**2)
        return WIDTH * sd / width

    def photos_needed(self, width: float, share: float = BEARABLE) -> int | None:
        """Return how many photos per sample bring the measuring under this share; None if none would."""
        for m in range(1, MOST_PHOTOS + 1):
            if self.share_of_tolerance(width, m) <= share:
                return m
        return None


def crossed(values: Array) -> Gauge:
    """Analyse a full crossed study.

    Parameters
    ----------
    values : (people, samples, photos) readings; at least two samples and two photos.

    Returns
    -------
    Gauge. With one person there is no reproducibility (0) and nothing is said about other people.

    Raises
    ------
    ValueError : too small.
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 3 or x.shape[1] < 2 or x.shape[2] < 2:
        raise ValueError(f"people x samples x photos with 2 samples and 2 photos wanted, got {x.shape}")
    p, s, r = x.shape
    x = x - x.mean()
    cell = x.mean(axis=2)
    by_person, by_sample = x.mean(axis=(1, 2)), x.mean(axis=(0, 2))
    ss_person = s * r * float(np.sum(by_person**2))
    ss_sample = p * r * float(np.sum(by_sample**2))
    ss_both = r * float(np.sum((cell - by_person[:, None] - by_sample[None, :]) ** 2))
    ss_repeat = float(np.sum((x - cell[:, :, None]) ** 2))
    df = {"sample": s - 1, "person": p - 1, "both": (p - 1) * (s - 1), "repeat": p * s * (r - 1)}
    ms_repeat = ss_repeat / df["repeat"]
    ms_both = ss_both / df["both"] if df["both"] else math.nan
    f_both = ms_both / ms_repeat if df["both"] and ms_repeat > 0 else math.nan
    chance_both = float(stats.f.sf(f_both, df["both"], df["repeat"])) if math.isfinite(f_both) else math.nan
    pooled = not df["both"] or not chance_both <= POOL_ABOVE
    if pooled:
        error, error_df = (ss_both + ss_repeat) / (df["both"] + df["repeat"]), df["both"] + df["repeat"]
        repeat, interaction = error, 0.0
    else:
        error, error_df = ms_both, df["both"]
        repeat, interaction = ms_repeat, max((ms_both - ms_repeat) / r, 0.0)

    # The table tests samples and people against the interaction, pooled or not (as the manual prints it).
    against, against_df = (ms_both, df["both"]) if df["both"] else (error, error_df)

    def tested(name: str, squares: float, freedom: int) -> Line:
        f = squares / freedom / against if freedom and against > 0 else math.nan
        chance = float(stats.f.sf(f, freedom, against_df)) if math.isfinite(f) else math.nan
        return Line(name=name, squares=squares, freedom=freedom, f=f, chance=chance)

    ms_person = ss_person / df["person"] if df["person"] else error
    ms_sample = ss_sample / df["sample"]
    person = max((ms_person - error) / (s * r), 0.0)
    return Gauge(
        repeatability=math.sqrt(repeat),
        reproducibility=math.sqrt(person + interaction),
        parts=math.sqrt(max((ms_sample - error) / (p * r), 0.0)),
        method="variance",
        pooled=pooled,
        lines=(
            tested("sample", ss_sample, df["sample"]),
            tested("person", ss_person, df["person"]),
            Line(name="person x sample", squares=ss_both, freedom=df["both"], f=f_both, chance=chance_both),
            Line(name="repeat photos", squares=ss_repeat, freedom=df["repeat"], f=math.nan, chance=math.nan),
        ),
        people=p,
        samples=s,
        photos=r,
    )


def _once(n: int) -> float:
    """Return d2* for a single range of n values: sqrt(d2^2 + d3^2) (Duncan; AIAG MSA, appendix C)."""
    return math.hypot(constants(n).d2, constants(n).d3)


def average_and_range(values: Array) -> Gauge:
    """Analyse by the average and range method (AIAG MSA, 4th ed.); values as in `crossed`."""
    x = np.asarray(values, dtype=float)
    p, s, r = x.shape
    mean_range = float(np.ptp(x, axis=2).mean())
    repeatability = mean_range / constants(r).d2
    between = float(np.ptp(x.mean(axis=(1, 2)))) / _once(p) if p > 1 else 0.0
    reproducibility = math.sqrt(max(between**2 - repeatability**2 / (s * r), 0.0))
    return Gauge(
        repeatability=repeatability,
        reproducibility=reproducibility,
        parts=float(np.ptp(x.mean(axis=(0, 2)))) / _once(s),
        method="range",
        pooled=False,
        lines=(),
        people=p,
        samples=s,
        photos=r,
    )
