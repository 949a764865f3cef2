"""Stripes that may be strips standing on a page."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.tracing.straight_stripes import Stripe
from measure.tracing.traced_shape import TUNED as SHAPE


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingNumbers:
    """Tuned numbers of what may stand on a page, found on path-traced photographs of known dummies."""

    standing_deg: float = 15.0
    """A strip that stands makes at least this with its page."""
    shortest_mm: float = 8.0
    """Shorter stripes are no strips."""
    below_page_mm: float = 5.0
    """What goes on below the page by more than this does not stand on it, ..."""
    in_line_mm: float = 1.5
    """... if it lies in the strip's own line within this."""
    under_mm: float = 4.0
    """A stripe may begin so far under the page, ..."""
    gap_mm: float = 4.0
    """... or above it, ..."""
    gap_share: float = 0.5
    """... or by this share of its length."""
    aside_mm: float = 8.0
    """A foot may stand so far beside the page as it was seen."""
    through_cost: float = 2.0
    """Card that runs through page or plane costs so many times what a gap does."""
    free_outside: float = 0.1
    """Share of a stripe that may lie outside its way."""


TUNED = StandingNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Strip:
    """A stripe as a strip standing on a page: foot on the page's line, upper end, its stripe."""

    stripe: Stripe
    foot: Array
    top: Array
    gap: float  # how far above the page the stripe begins, mm
    angle: float  # to the page's outward direction, rad
    through: float  # evidence that it goes on below the page

    def reach(self, to: Array) -> tuple[float, float]:
        """Share of the way from foot to that point that the stripe covers, and cost of what is not."""
        way = to - self.foot
        length = float(np.hypot(*way))
        if length < TUNED.shortest_mm:
            return 0.0, 1e9
        unit = way / length
        t0, t1 = sorted(float((p - self.foot) @ unit) for p in (self.stripe.curve.a, self.stripe.curve.b))
        covered = min(t1, length) - max(t0, 0.0)
        short = max(length - t1, 0.0)
        cost = sum(SHAPE.gap_cost * max(x - SHAPE.free_gap_mm, 0.0) for x in (t0, short))
        # Card does not run through the page it stands on, nor through the plane it carries.
        cost += sum(
            TUNED.through_cost * SHAPE.gap_cost * max(x - SHAPE.free_gap_mm, 0.0) for x in (t1 - length, -t0)
        )
        # What lies outside the way is no evidence for it.
        outside = self.stripe.score * max(1.0 - covered / (t1 - t0) - TUNED.free_outside, 0.0)
        return covered / length, cost + outside + self.through


def standing(stripes: Sequence[Stripe], page: Curve, up: float) -> list[Strip]:
    """Stripes that may stand on a page: above it, steep to it, their lower end near it."""
    out: list[Strip] = []
    ends = np.array([(s.curve.a, s.curve.b) for s in stripes]).reshape(-1, 2, 2)
    scores = np.array([s.score for s in stripes])
    normal = up * page.normal
    for s in stripes:
        heights = [float((p - page.a) @ normal) for p in (s.curve.a, s.curve.b)]
        low, top = (s.curve.a, s.curve.b) if heights[0] < heights[1] else (s.curve.b, s.curve.a)
        way = (top - low) / s.curve.length
        angle = float(np.arctan2(way @ normal, way @ page.tangent))
        if np.sin(angle) < np.sin(np.deg2rad(TUNED.standing_deg)) or s.curve.length < TUNED.shortest_mm:
            continue
        foot = crossing(s.curve, page)
        gap = min(heights)
        if not -TUNED.under_mm < gap < max(TUNED.gap_mm, TUNED.gap_share * s.curve.length):
            continue
        along = float((foot - page.a) @ page.tangent)
        if not -TUNED.aside_mm < along < page.length + TUNED.aside_mm:
            continue
        through = _through_page(ends, scores, foot, way)
        out.append(Strip(stripe=s, foot=foot, top=top, gap=gap, angle=angle, through=through))
    return out


def _through_page(ends: Array, scores: Array, foot: Array, way: Array) -> float:
    """Return the evidence that a strip goes on, in its own line, below the page it is thought to stand on."""
    off = ends - foot
    across = off @ np.array([-way[1], way[0]])
    along = off @ way
    length = np.abs(along[:, 1] - along[:, 0])
    in_line = (np.max(np.abs(across), axis=1) < TUNED.in_line_mm) & (
        np.min(along, axis=1) < -TUNED.below_page_mm
    )
    below = np.clip(-np.min(along, axis=1), 0, length) / np.maximum(length, 1e-6)
    return float(np.max(scores * below * in_line, initial=0.0))
