"""From straight stripes to a dummy: pages, two fold sides that meet in a ridge, plane halves, legs.

Nothing is known of the design but how such dummies are made. Every pair of stripes that may be the two sides
of the fold is tried on every page line; what else fits is added; the whole that explains most evidence is
taken. A stripe that does not reach from what it should stand on to what it should carry costs by the
millimetre, which sorts out far ends, shadows and the things behind.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.sides import SIDES
from measure.tracing.page_lines import TUNED as PAGES
from measure.tracing.page_lines import Pages, page_lines
from measure.tracing.standing_strips import TUNED as STANDING
from measure.tracing.standing_strips import Strip, standing
from measure.tracing.straight_stripes import Stripe
from measure.tracing.traced_shape import TUNED as SHAPE
from measure.tracing.traced_shape import Half, Shape, aims_at, with_edges


@dataclass(frozen=True, slots=True, kw_only=True)
class AssembleNumbers:
    """Tuned numbers of what makes a dummy, found on path-traced photographs of known dummies."""

    most_pieces: int = 170
    """Stripes tried, the strongest ones."""
    join_deg: float = 3.0
    """Two stripes within this of one direction, ..."""
    join_mm: tuple[float, float] = (0.8, 1.6)
    """... the shorter one's nearer and farther end within these of the longer one's line, ..."""
    join_gap_mm: float = 25.0
    """... no farther apart, ..."""
    join_overlap: float = 0.5
    """... and overlapping by no more than that share are tried as one, too."""
    aim_share: float = 0.2
    """What a stripe counts that runs toward the eye."""
    least_share: float = 0.35
    """Share of a strip's way that its stripe must cover, ..."""
    full_share: float = 1.2
    """... and times this is what it counts, up to all."""
    feet_mm: float = 3.0
    """The sides of a fold stand at least so far apart, ..."""
    spine_mm: float = 0.5
    """... each at least so far from a spine that is known, ..."""
    steepest_fold_deg: float = 62.0
    """... lean toward each other, and make at least this with the page, ..."""
    fold_sine: float = 0.1
    """... and at least this (sine) with each other."""
    ridge_above_mm: float = 5.0
    """The ridge lies at least so far above the page."""
    lean_deg: float = 25.0
    """The plane makes at most this with its page; ..."""
    usual_lean_deg: float = 4.0
    """... each squared share of this ..."""
    lean_cost: float = 8.0
    """... costs so much evidence, ..."""
    lean_most: float = 12.0
    """... up to so many times."""
    ridge_mm: tuple[float, float] = (-1.6, 2.6)
    """The plane's line passes the crossing of the folds within this (down, up), ..."""
    plane_mm: float = 10.0
    """... reaches at least so far from it, ..."""
    inner_free_mm: float = 4.0
    """... and begins so near to it without cost."""
    beyond_mm: float = 2.0
    """The plane reaches at least so far beyond its outermost leg."""
    unseen_edge_mm: float = 40.0
    """So much of a plane's outer end may be unseen, ..."""
    unseen_share: float = 5.0
    """... at the cost of a gap divided by this."""
    unseen_lean_deg: float = 8.0
    """An unseen plane is not thought to lean more, ..."""
    unseen_mm: float = 60.0
    """... nor to reach farther."""
    least_half: float = 20.0
    """Evidence of a half of the plane with its legs, ..."""
    least_plane: float = 150.0
    """... and of one without a leg, which must be clear."""
    least_leg: float = 45.0
    """Evidence of a leg."""
    leg_out_mm: float = 5.0
    """Its top lies at least so far from the ridge, ..."""
    foot_out_mm: float = 4.0
    """... its foot so far from the fold's."""
    parallel_deg: float = 10.0
    """Each squared share of this between a leg and its side of the fold ..."""
    parallel_cost: float = 60.0
    """... costs so much evidence, ..."""
    parallel_most: float = 6.0
    """... up to so many times."""
    leg_apart_mm: float = 6.0
    """Legs stand at least so far apart."""
    upper_score: float = 400.0
    """Evidence of another fold with its plane on top of the plane."""
    further_leg_deg: float = 5.0
    """A second leg under a half is parallel to the first within this, ..."""
    further_leg_share: float = 0.75
    """... seen over that share, from end to end, ..."""
    further_leg_score: float = 0.5
    """... with at least that share of the first one's evidence."""


TUNED = AssembleNumbers()


def joined(stripes: Sequence[Stripe]) -> list[Stripe]:
    """Stripes, and beside them those that two collinear ones make together (gap up to 25 mm)."""
    out = list(stripes)
    for i, s in enumerate(stripes):
        for t in stripes[:i]:
            both = _together(s, t)
            if both is not None:
                out.append(both)
    return sorted(out, key=lambda x: -x.score)[: TUNED.most_pieces]


def _together(s: Stripe, t: Stripe) -> Stripe | None:
    if abs(float(s.curve.normal @ t.curve.tangent)) > np.sin(np.deg2rad(TUNED.join_deg)):
        return None
    long, short = (s, t) if s.curve.length >= t.curve.length else (t, s)
    ends = np.array([short.curve.a, short.curve.b])
    off = (ends - long.curve.a) @ long.curve.normal
    along = np.sort((ends - long.curve.a) @ long.curve.tangent)
    gap = max(along[0] - long.curve.length, -along[1])
    # What mostly overlaps is no continuation.
    near, far = TUNED.join_mm
    if np.min(np.abs(off)) > near or np.max(np.abs(off)) > far:
        return None
    if not -TUNED.join_overlap * short.curve.length < gap < TUNED.join_gap_mm:
        return None
    points = np.array([s.curve.a, s.curve.b, t.curve.a, t.curve.b])
    middle = points.mean(axis=0)
    axis = np.linalg.svd(points - middle)[2][0]
    place = (points - middle) @ axis
    return Stripe(
        curve=Curve(a=middle + place.min() * axis, b=middle + place.max() * axis),
        score=long.score
        + short.score * min(1.0, 1.0 + gap / short.curve.length)
        - SHAPE.gap_cost * max(gap - SHAPE.free_gap_mm, 0.0),
    )


def assemble(
    stripes: Sequence[Stripe], table_mm: float | None, eye_mm: Array, marked: Pages | None = None
) -> Shape | None:
    """Put the likeliest dummy with a parallel fold together; None if no two stripes make one.

    Parameters
    ----------
    stripes : as found, strongest first.
    table_mm : height of the table in the sheet's frame, if sheet and dummy stand on the same; else None.
    eye_mm : (3,) the camera's centre: edges that run along the spine point at its foot in this plane.
    marked : the pages, if marks tell them: then nothing else can be a page.
    """
    across = [s for s in stripes if not aims_at(s.curve, eye_mm)]
    doubtful = [replace(s, score=TUNED.aim_share * s.score) for s in stripes if aims_at(s.curve, eye_mm)]
    pieces = [*joined(across), *doubtful]
    best: Shape | None = None
    for pages in [marked] if marked is not None else page_lines(pieces, table_mm):
        for shape in _on_pages(pieces, pages):
            if best is None or shape.score > best.score:
                best = shape
    if best is None:
        return None
    best = replace(best, upper=_carries_another(best, pieces))
    return with_edges(best, [s for s in stripes if aims_at(s.curve, eye_mm) and not s.printed])


def _carries_another(shape: Shape, pieces: Sequence[Stripe]) -> bool:
    """Whether a fold with a plane of its own stands on the plane: an upper stage."""
    if len(shape.halves) < len(SIDES):
        return False
    left, right = (Curve(a=shape.ridge, b=shape.halves[side].edge) for side in SIDES)
    plane = Pages(left=left, right=right, flat=True, score=0.0, spine=shape.ridge)
    return any(s.score > TUNED.upper_score and s.halves for s in _on_pages(pieces, plane))


def _on_pages(pieces: Sequence[Stripe], pages: Pages) -> list[Shape]:
    strips = {
        "left": standing(pieces, pages.left, -1.0),
        "right": standing(pieces, pages.right, 1.0),
    }
    tops = [s for s in pieces if s.curve.length > STANDING.shortest_mm]
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
    if left.stripe is right.stripe or not _about_spine(left, right, pages):
        return None
    apart = float((right.foot - left.foot) @ pages.right.tangent)
    # The sides of a fold lean toward each other.
    if apart < TUNED.feet_mm or min(left.angle, right.angle) < np.deg2rad(TUNED.steepest_fold_deg):
        return None
    if abs(float(left.stripe.curve.tangent @ right.stripe.curve.normal)) < TUNED.fold_sine:
        return None
    ridge = crossing(left.stripe.curve, right.stripe.curve)
    score = pages.score
    for strip in (left, right):
        share, cost = strip.reach(ridge)
        if share < TUNED.least_share:
            return None
        score += strip.stripe.score * min(share * TUNED.full_share, 1.0) - cost
    feet = {"left": left.foot, "right": right.foot}
    halves: dict[str, Half] = {}
    for side, fold in (("left", left), ("right", right)):
        half = _half(side, ridge, fold, strips[side], tops, pages)
        if half is not None:
            halves[side] = half
            score += half.score
    if not halves:
        return None
    middle = (left.foot + right.foot) / 2 if pages.spine is None else pages.spine
    inner = {s: (middle if pages.flat else pages.of(s).a) for s in SIDES}
    return Shape(
        pages={s: (inner[s], pages.of(s).b) for s in SIDES},
        flat=pages.flat,
        spine_seen=not pages.flat or pages.spine is not None,
        feet=feet,
        ridge=ridge,
        halves=halves,
        score=score,
    )


def _about_spine(left: Strip, right: Strip, pages: Pages) -> bool:
    """Whether each side of a fold stands on its own page, where the spine is known."""
    if pages.spine is None:
        return True
    ways = ((left, pages.left.tangent), (right, pages.right.tangent))
    return all(float((strip.foot - pages.spine) @ out) > TUNED.spine_mm for strip, out in ways)


def _half(
    side: str, ridge: Array, fold: Strip, strips: Sequence[Strip], tops: Sequence[Stripe], pages: Pages
) -> Half | None:
    """Return the plane half on one side with its legs; None if there is none worth it."""
    page = pages.of(side)
    if float((ridge - page.a) @ page.normal) * (1.0 if side == "right" else -1.0) < TUNED.ridge_above_mm:
        return None
    best: Half | None = None
    lines = _plane_lines(side, ridge, page, tops)
    for score, line in [*lines, *_unseen_planes(ridge, page, fold, strips)]:
        legs = _legs(line, fold, strips)
        total = score + sum(leg[0] for leg in legs)
        if not legs and score < TUNED.least_plane:
            continue
        if total > TUNED.least_half and (best is None or total > best.score):
            way = line.tangent
            reach = max([line.length, *(float((top - line.a) @ way) + TUNED.beyond_mm for _, _, top in legs)])
            best = Half(
                edge=line.a + reach * way, legs=tuple((foot, top) for _, foot, top in legs), score=total
            )
    return best


def _plane_lines(side: str, ridge: Array, page: Curve, tops: Sequence[Stripe]) -> list[tuple[float, Curve]]:
    """Stripes that may be the plane's half on a side, as lines from above the ridge outwards, with scores."""
    out: list[tuple[float, Curve]] = []
    for s in tops:
        curve = s.curve if float(s.curve.tangent @ page.tangent) > 0 else Curve(a=s.curve.b, b=s.curve.a)
        if float(curve.tangent @ page.tangent) < np.cos(np.deg2rad(TUNED.lean_deg)):
            continue
        off = float((curve.a - ridge) @ curve.normal) * (1.0 if side == "right" else -1.0)
        if not TUNED.ridge_mm[0] < off < TUNED.ridge_mm[1]:
            continue
        t0, t1 = (float((p - ridge) @ curve.tangent) for p in (curve.a, curve.b))
        if t1 < TUNED.plane_mm:
            continue
        inner = max(t0, 0.0)
        lean = np.rad2deg(np.arccos(min(float(curve.tangent @ page.tangent), 1.0)))
        score = s.score * (t1 - inner) / curve.length - SHAPE.gap_cost * max(inner - TUNED.inner_free_mm, 0.0)
        score -= TUNED.lean_cost * min((lean / TUNED.usual_lean_deg) ** 2, TUNED.lean_most)
        out.append((score, Curve(a=curve.a - t0 * curve.tangent, b=curve.b)))
    return out


def _unseen_planes(
    ridge: Array, page: Curve, fold: Strip, strips: Sequence[Strip]
) -> list[tuple[float, Curve]]:
    """Lines from the ridge to the tops of strips: a plane of which nothing was found must still lie there."""
    out = [(-PAGES.unseen_cost, Curve(a=ridge, b=ridge + TUNED.unseen_mm * page.tangent))]
    for s in strips:
        way = s.top - ridge
        length = float(np.hypot(*way))
        if s.stripe is fold.stripe or length < TUNED.leg_apart_mm:
            continue
        if float(way @ page.tangent) > length * np.cos(np.deg2rad(TUNED.unseen_lean_deg)):
            out.append((-PAGES.unseen_cost / 2, Curve(a=ridge, b=s.top)))
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
        if not TUNED.leg_out_mm < t < plane.length + TUNED.unseen_edge_mm or out < TUNED.foot_out_mm:
            continue
        share, cost = s.reach(top)
        if share < TUNED.least_share:
            continue
        turn = np.rad2deg(s.angle - fold.angle) / TUNED.parallel_deg
        beyond = SHAPE.gap_cost / TUNED.unseen_share * max(t - plane.length - SHAPE.free_gap_mm, 0.0)
        score = (
            s.stripe.score * min(share * TUNED.full_share, 1.0)
            - cost
            - beyond
            - TUNED.parallel_cost * min(turn**2, TUNED.parallel_most)
        )
        if score > TUNED.least_leg:
            found.append((score, s, top, t))
    found.sort(key=lambda f: -f[0])
    kept = found[:1]
    for f in found[1:]:
        first = kept[0]
        share, cost = f[1].reach(f[2])
        alike = (
            abs(f[1].angle - first[1].angle) < np.deg2rad(TUNED.further_leg_deg)
            and f[0] > TUNED.further_leg_score * first[0]
        )
        alike = alike and share > TUNED.further_leg_share and cost == 0.0
        if alike and not any(_clash(f[1].foot, f[2], g[1].foot, g[2]) for g in kept):
            kept.append(f)
    kept.sort(key=lambda f: f[3])
    return [(score, s.foot, top) for score, s, top, _ in kept]


def _clash(foot: Array, top: Array, other_foot: Array, other_top: Array) -> bool:
    """Whether two legs stand too near to each other, or cross."""
    d0 = float((foot - other_foot)[0])
    d1 = float((top - other_top)[0])
    return min(abs(d0), abs(d1)) < TUNED.leg_apart_mm or d0 * d1 < 0
