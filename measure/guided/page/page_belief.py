"""Which level to believe: that of the page's edge, if it lies at the near ends, or that of the feet.

A page's cut edge tells its level to a tenth of a millimetre if the page is cut flush with the strips, and
nothing if it lies somewhere in front of them. Feet tell it always, to some tenths. How well both agree says
which it is; where that stays open the answer lies between them and is as doubtful as they are apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
    misread, torn : how often feet mislead altogether: where most of them agree, and where they do not.
    misread_mm : over so much.
    height_sd_mm : how far the middle one of all heights may be off its nominal, in what is built by hand.
        Wide on purpose: it only keeps a level away at which every strip would be millimetres wrong.
    built_wrong, built_wrong_mm : so seldom all of them are off by more, over so much.
    """

    flush: float = 0.35
    lower_mm: float = 9.0
    higher_mm: float = 30.0
    misread: float = 0.1
    torn: float = 0.5
    misread_mm: float = 20.0
    height_sd_mm: float = 1.0
    built_wrong: float = 0.05
    built_wrong_mm: float = 20.0


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
    ends = np.array([0.0, 1.0])
    apart = up * float((edge.points(np.array([at]))[0] - feet.curve.points(np.array([at]))[0]) @ edge.normal)
    both = float(np.hypot(edge_sd_mm, feet.sd_mm))
    agree = float(np.exp(-0.5 * (apart / both) ** 2) / (both * np.sqrt(2 * np.pi)))
    stray = 1.0 / (TUNING.lower_mm if apart < 0 else TUNING.higher_mm)
    misread = TUNING.misread if feet.agreed else TUNING.torn
    at_edge, at_feet = (0.0 if e is None else e for e in excess_mm)
    # Either the edge lies at the near ends, or the feet tell the level, or neither: then the heights do.
    weights = np.array(
        [
            TUNING.flush * ((1 - misread) * agree + misread / TUNING.misread_mm) * _of_heights(at_edge),
            (1 - TUNING.flush) * (1 - misread) * stray * _of_heights(at_feet),
            (1 - TUNING.flush) * misread * stray / TUNING.misread_mm,
        ]
    )
    weights /= weights.sum()
    levels = np.array([apart, 0.0, at_feet])  # up from that of the feet; too long means the page is higher
    sds = np.array([edge_sd_mm, feet.sd_mm, TUNING.height_sd_mm])
    tilts = np.array([edge_sd_mm, feet.tilt_sd_mm, feet.tilt_sd_mm])
    flush, mean = float(weights[0]), float(weights @ levels)
    along = feet.curve.points(ends) * (1 - flush) + edge.points(ends) * flush
    along = along + up * (mean - flush * apart) * edge.normal
    return Belief(
        curve=Curve(a=along[0], b=along[1]),
        sd_mm=float(np.sqrt(weights @ (sds**2 + (levels - mean) ** 2))),
        tilt_sd_mm=float(np.sqrt(weights @ tilts**2)),
        flush=flush,
    )


def _of_heights(excess_mm: float) -> float:
    """Density (per mm) of the middle one of all heights being off its nominal by so much."""
    sd = TUNING.height_sd_mm
    gauss = float(np.exp(-0.5 * (excess_mm / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))
    return (1 - TUNING.built_wrong) * gauss + TUNING.built_wrong / TUNING.built_wrong_mm
