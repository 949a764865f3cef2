"""From straight stripes to a dummy: pages, two fold sides that meet in a ridge, plane halves, legs.

Nothing is known of the design but how such dummies are made. Every pair of stripes that may be the two sides
of the fold is tried on every page line; what else fits is added; the whole that explains most evidence is
taken. A stripe that does not reach from what it should stand on to what it should carry costs by the
millimetre, which sorts out far ends, shadows and the things behind.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.sides import SIDES
from measure.tracing.page_lines import UNSEEN_COST, Pages, page_lines
from measure.tracing.standing_strips import SHORTEST_MM, Strip, standing
from measure.tracing.straight_stripes import Stripe
from measure.tracing.traced_shape import FREE_GAP_MM, GAP_COST, Half, Shape, aims_at, with_edges

LEAN_DEG = 25.0  # the plane makes at most this with its page
MOST_PIECES = 170
RIDGE_MM = (-1.6, 2.6)  # the plane's line passes the crossing of the folds within this (down, up)
LEG_APART_MM = 6.0
PARALLEL_DEG = 10.0
PARALLEL_COST = 60.0
LEAST_LEG = 45.0
LEAST_HALF = 20.0
LEAST_PLANE = 150.0  # a plane half without a leg must be clear
AIM_SHARE = 0.2  # what a stripe counts that runs toward the eye
LEAST_SHARE = 0.35  # of a strip's way that its stripe must cover
FURTHER_LEG_DEG = 5.0  # a second leg under a half is parallel to the first, and seen from end to end
FURTHER_LEG_SHARE = 0.75
BEYOND_MM = 2.0  # the plane reaches at least so far beyond its outermost leg
UNSEEN_EDGE_MM = 40.0  # so much of a plane's outer end may be unseen
UNSEEN_LEAN_DEG = 8.0  # an unseen plane is not thought to lean more
USUAL_LEAN_DEG = 4.0
LEAN_COST = 8.0
STEEPEST_FOLD_DEG = 62.0


def joined(stripes: Sequence[Stripe]) -> list[Stripe]:
    """Stripes, and beside them those that two collinear ones make together (gap up to 25 mm)."""
    out = list(stripes)
    for i, s in enumerate(stripes):
        for t in stripes[:i]:
            both = _together(s, t)
            if both is not None:
                out.append(both)
    return sorted(out, key=lambda x: -x.score)[:MOST_PIECES]


def _together(s: Stripe, t: Stripe) -> Stripe | None:
    if abs(float(s.curve.normal @ t.curve.tangent)) > np.sin(np.deg2rad(3.0)):
        return None
    long, short = (s, t) if s.curve.length >= t.curve.length else (t, s)
    ends = np.array([short.curve.a, short.curve.b])
    off = (ends - long.curve.a) @ long.curve.normal
    along = np.sort((ends - long.curve.a) @ long.curve.tangent)
    gap = max(along[0] - long.curve.length, -along[1])
    # What mostly overlaps is no continuation.
    if np.min(np.abs(off)) > 0.8 or np.max(np.abs(off)) > 1.6 or not -0.5 * short.curve.length < gap < 25.0:
        return None
    points = np.array([s.curve.a, s.curve.b, t.curve.a, t.curve.b])
    middle = points.mean(axis=0)
    axis = np.linalg.svd(points - middle)[2][0]
    place = (points - middle) @ axis
    return Stripe(
        curve=Curve(a=middle + place.min() * axis, b=middle + place.max() * axis),
        score=long.score
        + short.score * min(1.0, 1.0 + gap / short.curve.length)
        - GAP_COST * max(gap - FREE_GAP_MM, 0.0),
    )


def assemble(stripes: Sequence[Stripe], table_mm: float | None, eye_mm: Array) -> Shape | None:
    """Put the likeliest dummy with a parallel fold together; None if no two stripes make one.

    Parameters
    ----------
    stripes : as found, strongest first.
    table_mm : height of the table in the sheet's frame, if sheet and dummy stand on the same; else None.
    eye_mm : (3,) the camera's centre: edges that run along the spine point at its foot in this plane.
    """
    across = [s for s in stripes if not aims_at(s.curve, eye_mm)]
    doubtful = [replace(s, score=AIM_SHARE * s.score) for s in stripes if aims_at(s.curve, eye_mm)]
    pieces = [*joined(across), *doubtful]
    best: Shape | None = None
    for pages in page_lines(pieces, table_mm):
        for shape in _on_pages(pieces, pages):
            if best is None or shape.score > best.score:
                best = shape
    return (
        None
        if best is None
        else with_edges(best, [s for s in stripes if aims_at(s.curve, eye_mm) and not s.printed])
    )


def _on_pages(pieces: Sequence[Stripe], pages: Pages) -> list[Shape]:
    strips = {
        "left": standing(pieces, pages.left, -1.0),
        "right": standing(pieces, pages.right, 1.0),
    }
    tops = [s for s in pieces if s.curve.length > SHORTEST_MM]
    out: list[Shape] = []
    for low in strips["left"]:
        for r in strips["right"]:
            shape = _with_fold(low, r, strips, tops, pages)
            if shape is not None:
                out.append(shape)
    return out


def _with_fold(
    left: Strip, right: Strip, strips: dict[str, list[Strip]], tops: Sequence[Stripe], pages: Pages
) -> Shape | None:
    """Try two strips as the sides of the fold, and add what fits."""
    if left.stripe is right.stripe:
        return None
    apart = float((right.foot - left.foot) @ pages.right.tangent)
    # The sides of a fold lean toward each other.
    if apart < 3.0 or min(left.angle, right.angle) < np.deg2rad(STEEPEST_FOLD_DEG):
        return None
    if abs(float(left.stripe.curve.tangent @ right.stripe.curve.normal)) < 0.1:
        return None
    ridge = crossing(left.stripe.curve, right.stripe.curve)
    score = pages.score
    for strip in (left, right):
        share, cost = strip.reach(ridge)
        if share < LEAST_SHARE:
            return None
        score += strip.stripe.score * min(share * 1.2, 1.0) - cost
    feet = {"left": left.foot, "right": right.foot}
    halves: dict[str, Half] = {}
    for side, fold in (("left", left), ("right", right)):
        half = _half(side, ridge, fold, strips[side], tops, pages)
        if half is not None:
            halves[side] = half
            score += half.score
    if not halves:
        return None
    middle = (left.foot + right.foot) / 2
    inner = {s: (middle if pages.flat else pages.of(s).a) for s in SIDES}
    return Shape(
        pages={s: (inner[s], pages.of(s).b) for s in SIDES},
        flat=pages.flat,
        feet=feet,
        ridge=ridge,
        halves=halves,
        score=score,
    )


def _half(
    side: str, ridge: Array, fold: Strip, strips: Sequence[Strip], tops: Sequence[Stripe], pages: Pages
) -> Half | None:
    """Return the plane half on one side with its legs; None if there is none worth it."""
    page = pages.of(side)
    if float((ridge - page.a) @ page.normal) * (1.0 if side == "right" else -1.0) < 5.0:
        return None
    best: Half | None = None
    lines = _plane_lines(side, ridge, page, tops)
    for score, line in [*lines, *_unseen_planes(ridge, page, fold, strips)]:
        legs = _legs(line, fold, strips)
        total = score + sum(leg[0] for leg in legs)
        if not legs and score < LEAST_PLANE:
            continue
        if total > LEAST_HALF and (best is None or total > best.score):
            way = line.tangent
            reach = max([line.length, *(float((top - line.a) @ way) + BEYOND_MM for _, _, top in legs)])
            best = Half(
                edge=line.a + reach * way, legs=tuple((foot, top) for _, foot, top in legs), score=total
            )
    return best


def _plane_lines(side: str, ridge: Array, page: Curve, tops: Sequence[Stripe]) -> list[tuple[float, Curve]]:
    """Stripes that may be the plane's half on a side, as lines from above the ridge outwards, with scores."""
    out: list[tuple[float, Curve]] = []
    for s in tops:
        curve = s.curve if float(s.curve.tangent @ page.tangent) > 0 else Curve(a=s.curve.b, b=s.curve.a)
        if float(curve.tangent @ page.tangent) < np.cos(np.deg2rad(LEAN_DEG)):
            continue
        off = float((curve.a - ridge) @ curve.normal) * (1.0 if side == "right" else -1.0)
        if not RIDGE_MM[0] < off < RIDGE_MM[1]:
            continue
        t0, t1 = (float((p - ridge) @ curve.tangent) for p in (curve.a, curve.b))
        if t1 < 10.0:
            continue
        inner = max(t0, 0.0)
        lean = np.rad2deg(np.arccos(min(float(curve.tangent @ page.tangent), 1.0)))
        score = s.score * (t1 - inner) / curve.length - GAP_COST * max(inner - 4.0, 0.0)
        score -= LEAN_COST * min((lean / USUAL_LEAN_DEG) ** 2, 12.0)
        out.append((score, Curve(a=curve.a - t0 * curve.tangent, b=curve.b)))
    return out


def _unseen_planes(
    ridge: Array, page: Curve, fold: Strip, strips: Sequence[Strip]
) -> list[tuple[float, Curve]]:
    """Lines from the ridge to the tops of strips: a plane of which nothing was found must still lie there."""
    out = [(-UNSEEN_COST, Curve(a=ridge, b=ridge + 60.0 * page.tangent))]
    for s in strips:
        way = s.top - ridge
        length = float(np.hypot(*way))
        if s.stripe is fold.stripe or length < LEG_APART_MM:
            continue
        if float(way @ page.tangent) > length * np.cos(np.deg2rad(UNSEEN_LEAN_DEG)):
            out.append((-UNSEEN_COST / 2, Curve(a=ridge, b=s.top)))
    return out


def _legs(plane: Curve, fold: Strip, strips: Sequence[Strip]) -> list[tuple[float, Array, Array]]:
    """Legs from page to plane (score, foot, top), the best ones that keep apart, from the ridge outwards."""
    found: list[tuple[float, Strip, Array, float]] = []
    for s in strips:
        if s.stripe is fold.stripe:
            continue
        top = crossing(s.stripe.curve, plane)
        t = float((top - plane.a) @ plane.tangent)
        out = float((s.foot - fold.foot) @ plane.tangent)
        if not 5.0 < t < plane.length + UNSEEN_EDGE_MM or out < 4.0:
            continue
        share, cost = s.reach(top)
        if share < LEAST_SHARE:
            continue
        turn = np.rad2deg(s.angle - fold.angle) / PARALLEL_DEG
        beyond = GAP_COST / 5 * max(t - plane.length - FREE_GAP_MM, 0.0)
        score = s.stripe.score * min(share * 1.2, 1.0) - cost - beyond - PARALLEL_COST * min(turn**2, 6.0)
        if score > LEAST_LEG:
            found.append((score, s, top, t))
    found.sort(key=lambda f: -f[0])
    kept = found[:1]
    for f in found[1:]:
        first = kept[0]
        share, cost = f[1].reach(f[2])
        alike = abs(f[1].angle - first[1].angle) < np.deg2rad(FURTHER_LEG_DEG) and f[0] > 0.5 * first[0]
        alike = alike and share > FURTHER_LEG_SHARE and cost == 0.0
        if alike and not any(_clash(f[1].foot, f[2], g[1].foot, g[2]) for g in kept):
            kept.append(f)
    kept.sort(key=lambda f: f[3])
    return [(score, s.foot, top) for score, s, top, _ in kept]


def _clash(foot: Array, top: Array, other_foot: Array, other_top: Array) -> bool:
    """Whether two legs stand too near to each other, or cross."""
    d0 = float((foot - other_foot)[0])
    d1 = float((top - other_top)[0])
    return min(abs(d0), abs(d1)) < LEG_APART_MM or d0 * d1 < 0
