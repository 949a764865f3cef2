"""The pages of a spread: as marks tell them, else stripes: one long line (flat), or two that meet."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.layout import FLAT_DEG, Layout
from measure.page_marks import PageMarks, marked_line, seeds_of
from measure.part_names import part_name
from measure.sides import SIDES
from measure.tracing.straight_stripes import Stripe
from measure.tracing.traced_shape import TUNED as SHAPE


@dataclass(frozen=True, slots=True, kw_only=True)
class PageLineNumbers:
    """Tuned numbers of what may be a page, found on path-traced photographs of known dummies."""

    steepest_deg: float = 62.0
    """A page rises no more steeply."""
    shortest_mm: float = 25.0
    """A page is seen over more than this."""
    unlike_deg: float = 20.0
    """A spread is propped open with both pages alike, and the photo hardly rolled, ..."""
    lying_deg: float = 4.0
    """... or with one page flat, within this, and the other raised."""
    falling_deg: float = 6.0
    """Outwards a page falls by no more."""
    lower_cost: float = 120.0
    """Evidence lost by a page under which another lies: a near edge is the lowest, ..."""
    parallel: float = 0.06
    """... nearly parallel (sine of the angle), ..."""
    lower_mm: tuple[float, float] = (1.5, 25.0)
    """... so far below, ..."""
    lower_share: float = 0.5
    """... with at least that share of its evidence, ..."""
    overlap: float = 0.4
    """... along that share of it."""
    n_pages: int = 8
    """Flat pages kept, and pairs that meet like an open book."""
    cap: float = 300.0
    """Evidence of a page: a long one must not outvote the shape."""
    book_share: float = 1.4
    """Each of two pages counts for the cap divided by this."""
    unseen_cost: float = 20.0
    """A plane, or a page, of which nothing was found."""
    table_free_mm: float = 2.0
    """A flat page lies within this of the table, ..."""
    table_mm: float = 3.0
    """... or loses for each such distance more ..."""
    table_cost: float = 60.0
    """... so much evidence, ..."""
    table_most: float = 4.0
    """... up to so many times: it may stand on a book."""
    spine_gap_mm: tuple[float, float] = (-4.0, 30.0)
    """Pages may overlap at the spine, or stop short of it, by so much."""
    spine_free_mm: float = 4.0
    """A gap at the spine that costs nothing."""


TUNED = PageLineNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pages:
    """Lines of the two pages, from the spine (or middle) outwards; the same line twice if flat.

    `spine` is the spine where a mark tells it; None where it is not known or is where the pages meet.
    """

    left: Curve
    right: Curve
    flat: bool
    score: float
    spine: Array | None = None

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
    lying = [
        s
        for s in stripes
        if abs(_degrees(s.curve)) < TUNED.steepest_deg and s.curve.length > TUNED.shortest_mm
    ]
    out: list[Pages] = []
    for s in lying:
        if abs(_degrees(s.curve)) > FLAT_DEG:
            continue
        line = _rightwards(s.curve)
        score = min(s.score, TUNED.cap)
        if table_mm is not None:
            middle = float((line.a[1] + line.b[1]) / 2)
            off = max(abs(middle - table_mm) - TUNED.table_free_mm, 0.0) / TUNED.table_mm
            score -= TUNED.table_cost * min(off, TUNED.table_most)
        out.append(Pages(left=Curve(a=line.b, b=line.a), right=line, flat=True, score=score))
    lowest = [s if not _page_below(s, lying) else replace(s, score=s.score - TUNED.lower_cost) for s in lying]
    books = [pair for s in lowest for t in lowest if (pair := _book(s, t)) is not None]
    likeliest = [sorted(kind, key=lambda p: -p.score)[: TUNED.n_pages] for kind in (out, books)]
    unseen = [] if table_mm is None or not stripes else [_on_table(stripes, table_mm)]
    return [*likeliest[0], *likeliest[1], *unseen]


def marked_pages(marks: PageMarks, layout: Layout) -> Pages | None:
    """Return the pages that marks tell, joints' lines; None if they tell of neither.

    A page of which nothing is marked goes on in the line of the other.
    """
    lines = {side: marked_line(marks, layout, part_name("page", side)) for side in SIDES}
    left, right = lines["left"], lines["right"]
    if left is None and right is None:
        return None
    if left is None and right is not None:
        left = Curve(a=right.a, b=2 * right.a - right.b)
    if right is None and left is not None:
        right = Curve(a=left.a, b=2 * left.a - left.b)
    assert left is not None and right is not None
    rise = float(np.rad2deg(np.arccos(np.clip(-left.tangent @ right.tangent, -1.0, 1.0))))
    return Pages(
        left=left,
        right=right,
        flat=rise < FLAT_DEG,
        score=TUNED.cap,
        spine=seeds_of(marks, layout)["spine"] if marks.has_tick else None,
    )


def _page_below(stripe: Stripe, lying: Sequence[Stripe]) -> bool:
    """Whether a nearly parallel stripe, nearly as strong, lies a little below: a near edge is the lowest."""
    upper = _rightwards(stripe.curve)
    for other in lying:
        lower = _rightwards(other.curve)
        if (
            other.score < TUNED.lower_share * stripe.score
            or abs(float(lower.normal @ upper.tangent)) > TUNED.parallel
        ):
            continue
        gap = float((upper.points(np.array([0.5]))[0] - lower.a) @ lower.normal)
        along = np.sort((np.array([upper.a, upper.b]) - lower.a) @ lower.tangent)
        low, high = TUNED.lower_mm
        if (
            low < gap < high
            and min(along[1], lower.length) - max(along[0], 0.0) > TUNED.overlap * upper.length
        ):
            return True
    return False


def _on_table(stripes: Sequence[Stripe], table_mm: float) -> Pages:
    """Return a flat base, of which nothing was found, on the table the sheet stands on."""
    x = np.array([(s.curve.a[0], s.curve.b[0]) for s in stripes]).ravel()
    left, right = np.array([x.min(), table_mm]), np.array([x.max(), table_mm])
    return Pages(
        left=Curve(a=right, b=left), right=Curve(a=left, b=right), flat=True, score=-TUNED.unseen_cost
    )


def _book(s: Stripe, t: Stripe) -> Pages | None:
    """Two stripes as left and right page of a spread propped open: both rise outwards from the spine."""
    left, right = _rightwards(s.curve), _rightwards(t.curve)
    rise = _degrees(right) - _degrees(left)  # 180 degrees less the opening
    if (
        not FLAT_DEG < rise < 2 * TUNED.steepest_deg
        or _degrees(left) > TUNED.falling_deg
        or _degrees(right) < -TUNED.falling_deg
    ):
        return None
    alike = abs(_degrees(left) + _degrees(right)) < TUNED.unlike_deg
    if not alike and min(abs(_degrees(left)), abs(_degrees(right))) > TUNED.lying_deg:
        return None
    spine = crossing(left, right)
    gaps = (float((spine - left.b) @ left.tangent), float((right.a - spine) @ right.tangent))
    if max(gaps) > TUNED.spine_gap_mm[1] or min(gaps) < TUNED.spine_gap_mm[0]:
        return None
    cost = sum(SHAPE.gap_cost * max(g - TUNED.spine_free_mm, 0.0) for g in gaps)
    score = min(s.score, TUNED.cap / TUNED.book_share) + min(t.score, TUNED.cap / TUNED.book_share) - cost
    return Pages(left=Curve(a=spine, b=left.a), right=Curve(a=spine, b=right.b), flat=False, score=score)
