"""Where strips stop above a page: their near ends are seen down to the foot and no farther."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class StripFeetNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies on white tables."""

    along_mm: float = 0.1
    """Strips are looked at in steps of this."""
    reach_mm: float = 2.5
    """Above and below the level asked for."""
    seen: float = 9.0
    """Evidence per place: more speaks for a strip that is there, less against."""
    weight: float = 2.0
    """What one place more or less on the wrong side of a level counts."""
    cap: float = 120.0
    """A foot counts at most so much: tabs, shadows and blur make it good to half a millimetre only."""
    least_rise: float = 0.2
    """Sine of the angle to the page: flatter strips are left out."""


TUNED = StripFeetNumbers()


def footing_profiles(
    scene: Scene,
    line: Curve,
    strips: Sequence[Curve],
    wanted: Array,
    up: float,
) -> list[tuple[float, Array]]:
    """Where on a page's line each strip stands (mm), and evidence (W,) for its foot being so far up from it.

    What is seen of a near end below a level speaks against it, what is not seen above it, too. Tabs, shadows
    and blur make this good to half a millimetre only: it decides where the page itself hardly shows.

    Parameters
    ----------
    line : rough line of the joints along the page.
    strips : line of every strip's near end.
    wanted : (W,) offsets up from the line.
    up : +1 if up is to the left of the line.

    Strips nearly along the line are left out.
    """
    out = []
    for curve in strips:
        foot = crossing(line, curve)
        rise = float(curve.tangent @ line.normal) * up
        if not np.all(np.isfinite(foot)) or abs(rise) < TUNED.least_rise:
            continue
        start = float((foot - curve.a) @ curve.tangent)
        limit = (np.max(np.abs(wanted)) + TUNED.reach_mm) / abs(rise)
        along = np.arange(-limit, limit + TUNED.along_mm, TUNED.along_mm)
        evidence = scene.edges.scan(
            curve,
            (start + along) / curve.length,
            reach_mm=0.1,
            step_mm=0.05,
            template=scene.template(curve),
        )
        near = np.abs(evidence.offsets_mm) < 0.11
        seen = np.clip(evidence.score[:, near].max(axis=1) / TUNED.seen - 1.0, -1.0, 1.0)
        heights = along * rise
        order = np.argsort(heights)
        total = np.concatenate([[0.0], np.cumsum(seen[order])])
        heights = heights[order]
        places = [np.searchsorted(heights, wanted + d) for d in (-TUNED.reach_mm, 0.0, TUNED.reach_mm)]
        below, here, above = total[places]
        votes = (above - here) - (here - below)
        evidence_up = TUNED.weight * (votes - votes.max()).clip(-TUNED.cap / TUNED.weight, 0.0)
        out.append((float((foot - line.a) @ line.tangent), evidence_up))
    return out
