"""Where strips stop above a page: their near ends are seen down to the foot and no farther."""

from collections.abc import Sequence

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.scene import Scene

ALONG_MM = 0.1
REACH_MM = 2.5  # above and below the level asked for
SEEN = 9.0  # evidence per place: more speaks for a strip that is there, less against
FOOT_WEIGHT = 2.0  # one place more or less on the wrong side of a level
FOOT_CAP = 120.0


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
        if not np.all(np.isfinite(foot)) or abs(rise) < 0.2:
            continue
        start = float((foot - curve.a) @ curve.tangent)
        limit = (np.max(np.abs(wanted)) + REACH_MM) / abs(rise)
        along = np.arange(-limit, limit + ALONG_MM, ALONG_MM)
        evidence = scene.edges.scan(
            curve,
            (start + along) / curve.length,
            reach_mm=0.1,
            step_mm=0.05,
            template=scene.template(curve),
        )
        near = np.abs(evidence.offsets_mm) < 0.11
        seen = np.clip(evidence.score[:, near].max(axis=1) / SEEN - 1.0, -1.0, 1.0)
        heights = along * rise
        order = np.argsort(heights)
        total = np.concatenate([[0.0], np.cumsum(seen[order])])
        heights = heights[order]
        places = [np.searchsorted(heights, wanted + d) for d in (-REACH_MM, 0.0, REACH_MM)]
        below, here, above = total[places]
        votes = (above - here) - (here - below)
        evidence_up = FOOT_WEIGHT * (votes - votes.max()).clip(-FOOT_CAP / FOOT_WEIGHT, 0.0)
        out.append((float((foot - line.a) @ line.tangent), evidence_up))
    return out
