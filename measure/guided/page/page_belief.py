"""Which level to believe: that of the page's edge, if it lies at the near ends, or that of the feet.

A page's cut edge tells its level to a tenth of a millimetre if the page is cut flush with the strips, and
nothing if it lies somewhere in front of them. Feet tell it always, to some tenths. How well both agree says
which it is; where that stays open the answer lies between them and is as doubtful as they are apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.guided.page.foot_level import FootLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class BeliefTuning:
    """How explanations of a page's level are weighed.

    Attributes
    ----------
    flush : how often a page is cut flush with the strips, before anything is looked at.
    lower_mm, higher_mm : an edge that is not the page's at the near ends is found anywhere within so much
        below the true level (the page's edge in front of them) or above it (shadows, prints).
    misread : how often feet mislead altogether, and how far.
    misread_mm : over so much.
    height_sd_mm : how far the middle one of all heights may be off its nominal, in what is built by hand.
        Wide on purpose: it only keeps a level away at which every strip would be millimetres wrong.
    """

    flush: float = 0.35
    lower_mm: float = 9.0
    higher_mm: float = 30.0
    misread: float = 0.1
    misread_mm: float = 20.0
    height_sd_mm: float = 1.0


TUNING = BeliefTuning()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Belief:
    """The level believed.

    Attributes
    ----------
    curve : line of the joints.
    sd_mm : standard uncertainty of its level, in which all heights over this page share.
    tilt_sd_mm : of either end against the other.
    flush : probability that the page's edge lies at the near ends and told the level.
    """

    curve: Curve
    sd_mm: float
    tilt_sd_mm: float
    flush: float


def believed_level(
    edge: Curve,
    edge_sd_mm: float,
    feet: FootLevel,
    excess_mm: Sequence[float | None],
    at: float,
    up: float,
) -> Belief:
    """Weigh the level of the edge against that of the feet.

    Parameters
    ----------
    edge, edge_sd_mm : line of the joints as the page's edge has it, if it lies at the near ends.
    feet : the level by the feet; its line has the same base line as `edge`, nearly.
    excess_mm : how far the middle one of all heights is off nominal at the edge's level and at the feet's.
    at : where along the line the feet stand (0 to 1); both levels are compared there.
    up : +1 if up is to the left of the lines.
    """
    apart = up * float((edge.points(np.array([at]))[0] - feet.curve.points(np.array([at]))[0]) @ edge.normal)
    both = float(np.hypot(edge_sd_mm, feet.sd_mm))
    agree = np.exp(-0.5 * (apart / both) ** 2) / (both * np.sqrt(2 * np.pi))
    stray = 1.0 / (TUNING.lower_mm if apart < 0 else TUNING.higher_mm)
    likely = np.array(
        [
            TUNING.flush * ((1 - TUNING.misread) * agree + TUNING.misread / TUNING.misread_mm),
            (1 - TUNING.flush) * (1 - TUNING.misread) * stray,
        ]
    ) * _of_heights(excess_mm)
    flush = float(likely[0] / likely.sum())
    middle = feet.curve.points(np.array([0.0, 1.0])) * (1 - flush) + edge.points(np.array([0.0, 1.0])) * flush
    within = flush * edge_sd_mm**2 + (1 - flush) * feet.sd_mm**2
    tilts = flush * edge_sd_mm**2 + (1 - flush) * feet.tilt_sd_mm**2
    return Belief(
        curve=Curve(a=middle[0], b=middle[1]),
        sd_mm=float(np.sqrt(within + flush * (1 - flush) * apart**2)),
        tilt_sd_mm=float(np.sqrt(tilts)),
        flush=flush,
    )


def _of_heights(excess_mm: Sequence[float | None]) -> Array:
    """Likelihoods (2,) of both levels by what they make of all heights together."""
    sizes = [0.0 if e is None else abs(e) for e in excess_mm]
    gauss = np.exp(-0.5 * (np.array(sizes) / TUNING.height_sd_mm) ** 2)
    out: Array = 0.95 * gauss + 0.05
    return out
