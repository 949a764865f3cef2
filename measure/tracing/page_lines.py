"""Stripes that may be the pages of a spread: one long line (flat), or two that meet (propped open)."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.geometry import Curve, crossing
from measure.tracing.straight_stripes import Stripe
from measure.tracing.traced_shape import GAP_COST

FLAT_DEG = 8.0  # pages that make less than this with each other lie flat
STEEPEST_PAGE_DEG = 62.0
UNLIKE_PAGES_DEG = 20.0  # a spread is propped open with both pages alike, and the photo hardly rolled
LOWER_COST = 120.0
PARALLEL_PAGES = 0.06  # sine of the angle
N_PAGES = 8  # flat ones, and ones that meet like an open book
PAGE_CAP = 300.0  # a long page must not outvote the shape
UNSEEN_COST = 20.0  # a plane, or a page, of which nothing was found


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pages:
    """Lines of the two pages, from the spine (or middle) outwards; the same line twice if flat."""

    left: Curve
    right: Curve
    flat: bool
    score: float

    def of(self, side: str) -> Curve:
        """Return the line of the page on one side, outwards."""
        return self.left if side == "left" else self.right


def _degrees(curve: Curve) -> float:
    """Direction of a line, -90 to 90 degrees from the sheet's x."""
    t = curve.tangent
    return float(np.rad2deg(np.arctan(t[1] / t[0]))) if abs(t[0]) > 1e-9 else 90.0


def _rightwards(curve: Curve) -> Curve:
    return curve if curve.b[0] >= curve.a[0] else Curve(a=curve.b, b=curve.a)


def page_lines(stripes: Sequence[Stripe], table_mm: float | None) -> list[Pages]:
    """Likely pages: long stripes that lie, alone (flat) or two that meet like an open book."""
    lying = [s for s in stripes if abs(_degrees(s.curve)) < STEEPEST_PAGE_DEG and s.curve.length > 25]
    out: list[Pages] = []
    for s in lying:
        if abs(_degrees(s.curve)) > FLAT_DEG:
            continue
        line = _rightwards(s.curve)
        score = min(s.score, PAGE_CAP)
        if table_mm is not None:
            middle = float((line.a[1] + line.b[1]) / 2)
            score -= 60.0 * min(max(abs(middle - table_mm) - 2.0, 0.0) / 3.0, 4.0)
        out.append(Pages(left=Curve(a=line.b, b=line.a), right=line, flat=True, score=score))
    lowest = [s if not _page_below(s, lying) else replace(s, score=s.score - LOWER_COST) for s in lying]
    books = [pair for s in lowest for t in lowest if (pair := _book(s, t)) is not None]
    likeliest = [sorted(kind, key=lambda p: -p.score)[:N_PAGES] for kind in (out, books)]
    unseen = [] if table_mm is None or not stripes else [_on_table(stripes, table_mm)]
    return [*likeliest[0], *likeliest[1], *unseen]


def _page_below(stripe: Stripe, lying: Sequence[Stripe]) -> bool:
    """Whether a nearly parallel stripe, nearly as strong, lies a little below: a near edge is the lowest."""
    upper = _rightwards(stripe.curve)
    for other in lying:
        lower = _rightwards(other.curve)
        if other.score < 0.5 * stripe.score or abs(float(lower.normal @ upper.tangent)) > PARALLEL_PAGES:
            continue
        gap = float((upper.points(np.array([0.5]))[0] - lower.a) @ lower.normal)
        along = np.sort((np.array([upper.a, upper.b]) - lower.a) @ lower.tangent)
        if 1.5 < gap < 25.0 and min(along[1], lower.length) - max(along[0], 0.0) > 0.4 * upper.length:
            return True
    return False


def _on_table(stripes: Sequence[Stripe], table_mm: float) -> Pages:
    """Return a flat base, of which nothing was found, on the table the sheet stands on."""
    x = np.array([(s.curve.a[0], s.curve.b[0]) for s in stripes]).ravel()
    left, right = np.array([x.min(), table_mm]), np.array([x.max(), table_mm])
    return Pages(left=Curve(a=right, b=left), right=Curve(a=left, b=right), flat=True, score=-UNSEEN_COST)


def _book(s: Stripe, t: Stripe) -> Pages | None:
    """Two stripes as left and right page of a spread propped open: both rise outwards from the spine."""
    left, right = _rightwards(s.curve), _rightwards(t.curve)
    rise = _degrees(right) - _degrees(left)  # 180 degrees less the opening
    if not FLAT_DEG < rise < 2 * STEEPEST_PAGE_DEG or _degrees(left) > 6 or _degrees(right) < -6:
        return None
    if abs(_degrees(left) + _degrees(right)) > UNLIKE_PAGES_DEG:
        return None
    spine = crossing(left, right)
    gaps = (float((spine - left.b) @ left.tangent), float((right.a - spine) @ right.tangent))
    if max(gaps) > 30 or min(gaps) < -4:
        return None
    cost = sum(GAP_COST * max(g - 4.0, 0.0) for g in gaps)
    score = min(s.score, PAGE_CAP / 1.4) + min(t.score, PAGE_CAP / 1.4) - cost
    return Pages(left=Curve(a=spine, b=left.a), right=Curve(a=spine, b=right.b), flat=False, score=score)
