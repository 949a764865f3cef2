"""Near ends blackened with a felt pen, uneven as by hand: the cut edge, and a little of both faces."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.rendering.cards.meshes import Mesh, cross_sections, join, quads, resample

Array = NDArray[np.float64]

STEP_MM = 0.5
"""Pieces in which ink starts and stops."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ink:
    """How the pen was led along the near ends.

    Attributes
    ----------
    spread_mm : how far ink runs onto a face at most (it varies between nothing and this).
    gaps : share of a near end that the pen missed. thin : share that is only grey.
    page : True if the page's near edge was inked too. forgotten : panels whose strip the pen left out.
    seed : for its unevenness.
    """

    spread_mm: float = 0.06
    gaps: float = 0.0
    thin: float = 0.1
    page: bool = True
    forgotten: tuple[str, ...] = ()
    seed: int = 0


def _wander(s: Array, pitch_mm: float, rng: np.random.Generator) -> Array:
    """Random values between 0 and 1, evenly spread, changing over `pitch_mm` of arc length."""
    knots = np.arange(s[0] - pitch_mm, s[-1] + 2 * pitch_mm, pitch_mm)
    at = np.interp(s, knots, rng.uniform(size=len(knots)))
    out: Array = np.clip(0.5 + 1.3 * (at - 0.5), 0.0, 1.0)
    return out


def inked_strip(
    line: Array,
    thick: float,
    near: Callable[[Array], Array],
    far: Callable[[Array], Array],
    ink: Ink,
    rng: np.random.Generator,
) -> dict[str, Mesh]:
    """Strip of card as `meshes.strip` makes it, its near end inked.

    Returns
    -------
    dict : "faces", "cuts" (bare cut edges), "ink", "thin ink"; what there is nothing of is left out.
    """
    left, right, s = cross_sections(resample(line, STEP_MM), thick)
    zn, zf = near(s), far(s)
    pressed = _wander(s, 3.5, rng)[:-1]
    bare = pressed < ink.gaps
    # beside a gap the pen only just touches
    grey = ~bare & ((pressed < 1.6 * ink.gaps) | (_wander(s, 4.0, rng)[:-1] < ink.thin))
    got: dict[str, list[Mesh]] = {k: [] for k in ("faces", "cuts", "ink", "thin ink")}

    def ladder(rim_a: Array, za: Array, rim_b: Array, zb: Array) -> tuple[Array, Array]:
        a, b = np.column_stack([rim_a, za]), np.column_stack([rim_b, zb])
        ta, tb = np.column_stack([s, za]), np.column_stack([s, zb])
        quad = [np.stack([p[:-1], p[1:], q[1:], q[:-1]], axis=1) for p, q in ((a, b), (ta, tb))]
        return quad[0], quad[1] / 100.0

    def put(stuff: str, which: NDArray[np.bool_], corners: Array, uv: Array) -> None:
        if which.any():
            got[stuff].append(quads(corners[which], uv[which]))

    every = np.ones(len(s) - 1, bool)
    for rim in (left, right):
        edge = zn - np.maximum(ink.spread_mm * _wander(s, 1.5, rng), 0.004)
        put("faces", every, *ladder(rim, edge, rim, zf))
        beside = ladder(rim, zn, rim, edge)
        put("faces", bare, *beside)
        put("ink", ~bare & ~grey, *beside)
        put("thin ink", grey, *beside)
    cut = ladder(left, zn, right, zn)
    put("cuts", bare, *cut)
    put("ink", ~bare & ~grey, *cut)
    put("thin ink", grey, *cut)
    put("cuts", every, *ladder(left, zf, right, zf))
    ends = [
        [[*left[i], zn[i]], [*left[i], zf[i]], [*right[i], zf[i]], [*right[i], zn[i]]]
        for i in (0, len(s) - 1)
    ]
    got["cuts"].append(quads(np.array(ends), np.zeros((2, 4, 2))))
    return {stuff: join(meshes) for stuff, meshes in got.items() if meshes}
