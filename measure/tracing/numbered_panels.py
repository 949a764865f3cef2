"""A dummy without a parallel fold: panels that stand on the page and what they carry, by plain numbers.

Much less is taken than for a construction that is known: only strips that come down to the page and that,
with at least one other, carry a panel.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.layout import Card, Layout, Panel, Role
from measure.part_names import part_name
from measure.sides import SIDES
from measure.tracing.page_lines import Pages, page_lines
from measure.tracing.standing_strips import Strip, standing
from measure.tracing.straight_stripes import Stripe
from measure.tracing.trace_dummy import Traced
from measure.tracing.traced_shape import aims_at


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies of other constructions."""

    least_score: float = 150.0
    """Evidence of a strip or an upper panel."""
    feet_apart_mm: float = 6.0
    """Feet nearer to each other are one."""
    top_mm: float = 2.5
    """Strips meet, or come to the page or to the panel they carry, within this."""
    most: int = 8
    """Strips taken at most."""
    above_mm: float = 5.0
    """An upper panel lies at least so far above the page, ..."""
    least_sine: float = 0.3
    """... and makes at least this (sine) with what carries it."""


TUNED = NumberedNumbers()


def numbered(
    stripes: Sequence[Stripe],
    table_mm: float | None,
    eye_mm: Array,
    card: Card,
    marked: Pages | None = None,
) -> Traced | None:
    """Return a layout of numbered panels on a flat spread; None if no two that stand carry a third.

    `marked` are the pages, if marks tell them.
    """
    clear = [s for s in stripes if s.score > TUNED.least_score and not aims_at(s.curve, eye_mm)]
    best: tuple[float, Pages, list[Strip], list[tuple[Stripe, list[int]]]] | None = None
    likely = page_lines(clear, table_mm) if marked is None else [marked]
    for pages in (p for p in likely if p.flat and p.score > 0):
        strips = _apart(standing(clear, pages.right, 1.0))
        uppers = _uppers(clear, strips, pages)
        joined = {k for _, on in uppers for k in on}
        score = sum(strips[k].stripe.score for k in joined) + sum(u.score for u, _ in uppers)
        if len(joined) >= 2 and (best is None or score > best[0]):
            best = (score, pages, strips, uppers)
    if best is None:
        return None
    _, pages, strips, uppers = best
    return _traced(pages, strips, uppers, card)


def _apart(strips: Sequence[Strip]) -> list[Strip]:
    """Return strips whose lower ends come to the page, the strongest ones, feet apart, from left to right."""
    kept: list[Strip] = []
    for s in sorted(strips, key=lambda x: -x.stripe.score):
        close = any(np.hypot(*(s.foot - t.foot)) < TUNED.feet_apart_mm for t in kept)
        if s.gap < TUNED.top_mm and s.through == 0.0 and not close and len(kept) < TUNED.most:
            kept.append(s)
    return sorted(kept, key=lambda x: float(x.foot[0]))


def _uppers(clear: Sequence[Stripe], strips: Sequence[Strip], pages: Pages) -> list[tuple[Stripe, list[int]]]:
    """Panels that two or more strips carry, each with the strips' indices; every strip under one only."""
    used: set[int] = set()
    out: list[tuple[Stripe, list[int]]] = []
    for s in sorted(clear, key=lambda x: -x.score):
        heights = [float((p - pages.right.a) @ pages.right.normal) for p in (s.curve.a, s.curve.b)]
        if min(heights) < TUNED.above_mm:
            continue
        on = [k for k, strip in enumerate(strips) if k not in used and _carries(strip, s)]
        if len(on) >= 2:
            out.append((s, on))
            used |= set(on)
    return out


def _carries(strip: Strip, upper: Stripe) -> bool:
    if (
        strip.stripe is upper
        or abs(float(strip.stripe.curve.tangent @ upper.curve.normal)) < TUNED.least_sine
    ):
        return False
    at = crossing(strip.stripe.curve, upper.curve)
    along = float((at - upper.curve.a) @ upper.curve.tangent)
    return bool(
        np.hypot(*(at - strip.top)) < TUNED.top_mm
        and -TUNED.top_mm < along < upper.curve.length + TUNED.top_mm
    )


def _traced(
    pages: Pages, strips: Sequence[Strip], uppers: Sequence[tuple[Stripe, list[int]]], card: Card
) -> Traced:
    at: dict[str, Array] = {}
    lengths: dict[str, tuple[str, str]] = {}
    panels: list[Panel] = []
    carried = sorted({k for _, on in uppers for k in on})
    number = {k: i for i, k in enumerate(carried, start=1)}
    feet = [part_name("foot", number=number[k]) for k in carried]
    for k in carried:
        n = number[k]
        name, *joints = (part_name(kind, number=n) for kind in ("panel", "foot", "top"))
        at[joints[0]] = strips[k].foot
        lengths[name] = (joints[0], joints[1])
        panels.append(Panel(name=name, joints=(joints[0], joints[1]), role=Role.LEG))
    for j, (upper, on) in enumerate(uppers, start=len(carried) + 1):
        curve = (
            upper.curve if upper.curve.b[0] > upper.curve.a[0] else Curve(a=upper.curve.b, b=upper.curve.a)
        )
        tops: list[tuple[float, str]] = []
        for k in on:
            top = crossing(strips[k].stripe.curve, curve)
            name = part_name("top", number=number[k])
            at[name] = top
            tops.append((float((top - curve.a) @ curve.tangent), name))
        names = tuple(name for _, name in sorted(tops))
        upper_name = part_name("panel", number=j)
        panels.append(Panel(name=upper_name, joints=names, role=Role.PLANE))
        for a, b in zip(names[:-1], names[1:], strict=True):
            lengths[f"{upper_name}, {a} to {b}"] = (a, b)
    for a, b in zip(feet[:-1], feet[1:], strict=True):
        lengths[f"page, {a} to {b}"] = (a, b)
    half = max(len(feet) // 2, 1)
    at["spine"] = (at[feet[half - 1]] + at[feet[half]]) / 2
    outer = {"left": feet[:half][::-1], "right": feet[half:]}
    for side in SIDES:
        at[part_name("fore edge", side)] = pages.of(side).b
    on_page = [
        Panel(
            name=part_name("page", side),
            joints=("spine", *outer[side], part_name("fore edge", side)),
            role=Role.PAGE,
            side=side,
            free_end=True,
        )
        for side in SIDES
    ]
    every = (*on_page, *panels)
    names = tuple(dict.fromkeys(j for p in every for j in p.joints))
    flat = pages.right.tangent
    turn = np.array([[flat[0], -flat[1]], [flat[1], flat[0]]])
    xy = (np.array([at[n] for n in names]) - at["spine"]) @ turn
    layout = Layout(
        joint_names=names,
        xy_mm=xy,
        panels=every,
        opening_deg=180.0,
        card_mm=card.card_mm,
        depth_mm=card.depth_mm,
        base_mm=card.base_mm,
        near_end_sd_mm=card.near_end_sd_mm,
        heights_known=False,
    )
    return replace(
        Traced(layout=layout, at_mm=at, lengths=lengths, spine_seen=False),
        named=False,
    )
