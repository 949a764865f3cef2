"""Where the joints of a folded dummy lie: closed-form positions for given lengths and opening angle.

The base mechanism is three four-bars: the parallel fold (page, page, two fold sides) and, on each side
that has a leg, the half plane (page spacing, leg, plane spacing, fold side). One kernel solves each of them;
the open branch is the one card can take (the crossed one would need card to pass through card).

Everything is vectorised: lengths and opening angle may be scalars or arrays that broadcast together.
Lengths in mm, angles in radians. Frame: spine at the origin, x to the right page, y up along the bisector
of the pages; `phi` is the opening angle (0 closed, pi flat).

Source of the formulas: the law of cosines in the two triangles on either side of a four-bar's diagonal,
written with half angles so that nothing cancels near closed; checked in tests against the loop closure,
Freudenstein's equation and a textbook position table.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from compare.design.four_bar import four_bar

Array = NDArray[np.float64]

SIDES: Final = ("left", "right")
SMALLEST_PHI: Final = 1e-7  # rad; "closed" is the limit: at exactly 0 a folded loop has no direction


def _array(x: ArrayLike) -> Array:
    return np.asarray(x, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pose:
    """Joints and angles of the dummy at one opening (or many, or for many samples).

    Attributes
    ----------
    phi : opening angle, rad.
    joints : joint name -> (..., 2) positions, mm, spine at the origin.
    fold_angle : side -> angle of the fold side to its page, rad (0 = flat on the page, pointing outwards).
    leg_angle : side -> angle of the leg to its page, rad; only sides with a leg.
    lean : side -> angle of the plane half to its page, rad; + = outer edge too high.
    """

    phi: Array
    joints: Mapping[str, Array]
    fold_angle: Mapping[str, Array]
    leg_angle: Mapping[str, Array]
    lean: Mapping[str, Array]


def _point(along: Array, across: Array, side: str, h: Array) -> Array:
    """Point of a page's own frame (along the page, along its inner normal) in the dummy's frame, (..., 2)."""
    sign = 1.0 if side == "right" else -1.0
    x = along * np.sin(h) - across * np.cos(h)
    y = along * np.cos(h) + across * np.sin(h)
    return np.stack(np.broadcast_arrays(sign * x, y), axis=-1)


def solve(lengths: Mapping[str, ArrayLike], phi: ArrayLike) -> Pose:
    """Positions of all joints for these lengths at this opening.

    Parameters
    ----------
    lengths : length name -> mm (scalars or arrays that broadcast). Needed: "foot left/right", "fold
        left/right"; for a side with a leg: "leg", "page spacing", "plane spacing" and, if the outer edge
        of the plane is wanted, "plane"; for the fore edge: "page".
    phi : opening angle, rad.

    Returns
    -------
    Pose; positions and angles are nan where the loops cannot be assembled.
    """
    n = {k: _array(v) for k, v in lengths.items()}
    opening = np.maximum(_array(phi), SMALLEST_PHI)
    h = opening / 2
    zero = np.zeros_like(h)
    psi_r, psi_l = four_bar(n["foot right"], n["foot left"], n["fold right"], n["fold left"], opening)
    psi = {"left": psi_l, "right": psi_r}
    joints: dict[str, Array] = {"spine": _point(zero, zero, "right", h)}
    leg_angle: dict[str, Array] = {}
    lean: dict[str, Array] = {}
    for side in SIDES:
        foot, fold = n[f"foot {side}"], n[f"fold {side}"]
        joints[f"inner foot {side}"] = _point(foot, zero, side, h)
        ridge_u, ridge_n = foot + fold * np.cos(psi[side]), fold * np.sin(psi[side])
        if side == "right":
            joints["ridge"] = _point(ridge_u, ridge_n, side, h)
        if f"page {side}" in n:
            joints[f"fore edge {side}"] = _point(n[f"page {side}"], zero, side, h)
        if f"leg {side}" not in n:
            continue
        base, leg, top = n[f"page spacing {side}"], n[f"leg {side}"], n[f"plane spacing {side}"]
        delta, _ = four_bar(base, fold, leg, top, psi[side])
        top_u, top_n = foot + base + leg * np.cos(delta), leg * np.sin(delta)
        tau = np.arctan2(top_n - ridge_n, top_u - ridge_u)
        joints[f"outer foot {side}"] = _point(foot + base, zero, side, h)
        joints[f"leg top {side}"] = _point(top_u, top_n, side, h)
        leg_angle[side], lean[side] = delta, tau
        if f"plane {side}" in n:
            width = n[f"plane {side}"]
            joints[f"plane edge {side}"] = _point(
                ridge_u + width * np.cos(tau), ridge_n + width * np.sin(tau), side, h
            )
    return Pose(phi=opening, joints=joints, fold_angle=psi, leg_angle=leg_angle, lean=lean)


def lean_gradient(lengths: Mapping[str, float], phi: float, side: str) -> dict[str, float]:
    """How the lean of one half changes with each length (rad per mm) and with "opening" (rad per rad).

    Central differences of the closed form: exact to about 1e-9 for the lengths of a book.
    """
    names = [k for k in lengths if not k.startswith(("page left", "page right", "plane left", "plane right"))]
    step = 1e-4
    shifted = {k: np.full(2 * len(names), float(v)) for k, v in lengths.items()}
    for i, k in enumerate(names):
        shifted[k][2 * i] += step
        shifted[k][2 * i + 1] -= step
    lean = solve(shifted, phi).lean[side]
    out = {k: float((lean[2 * i] - lean[2 * i + 1]) / (2 * step)) for i, k in enumerate(names)}
    turn = 1e-5
    both = solve(lengths, np.array([phi + turn, phi - turn]))
    out["opening"] = float((both.lean[side][0] - both.lean[side][1]) / (2 * turn))
    return out


def closing_sums(lengths: Mapping[str, float]) -> dict[str, float]:
    """Loop sums that must be zero for the dummy to lie flat when shut, mm.

    Loops with a length missing are left out.
    "feet": (foot + fold) left minus right. "left"/"right": (fold + plane spacing) minus (page spacing + leg);
    + means the leg goes flat on the page too early, - that the plane folds up.
    """
    loops = {"feet": (("foot left", "fold left"), ("foot right", "fold right"))}
    for s in SIDES:
        loops[s] = ((f"fold {s}", f"plane spacing {s}"), (f"page spacing {s}", f"leg {s}"))
    return {
        name: sum(lengths[k] for k in one) - sum(lengths[k] for k in other)
        for name, (one, other) in loops.items()
        if all(k in lengths for k in (*one, *other))
    }


def closed_reach(lengths: Mapping[str, ArrayLike], side: str) -> Array:
    """How far from the spine card reaches on this side when the dummy is shut, mm.

    The chain runs straight outwards when shut, and no point of it is ever farther from the spine than then
    (triangle inequality). The farthest of: ridge, outer edge of the plane, top of the leg.
    """
    n = {k: _array(v) for k, v in lengths.items()}
    ridge = n[f"foot {side}"] + n[f"fold {side}"]
    if f"leg {side}" not in n:
        return ridge
    leg_top = n[f"foot {side}"] + n[f"page spacing {side}"] + n[f"leg {side}"]
    outer: Array = np.maximum(ridge + n[f"plane {side}"], leg_top)
    return outer


def _jammed(pose: Pose) -> NDArray[np.bool_]:
    """Where card would have to pass through card, or the loop does not assemble."""
    bad: NDArray[np.bool_] = np.zeros(pose.phi.shape, dtype=bool)
    total = np.zeros(pose.phi.shape)
    slack = 1e-9  # rad: at exactly closed everything is flat
    with np.errstate(invalid="ignore"):
        for side in SIDES:
            bad |= ~(pose.fold_angle[side] > -slack)
            if side in pose.lean:
                bad |= ~(pose.leg_angle[side] > -slack)
                total = total + pose.lean[side]
        bad |= ~(total < pose.phi + slack)
    return bad


def binding_angle(lengths: Mapping[str, float], phi: float) -> float:
    """Find the opening (rad) at which the dummy, closed from `phi`, first jams: card against card.

    0 if it closes. Found on a fine grid of openings and then by halving; the closed forms for one wrong
    length (a leg flat on its page, a fold side flat on its page) are checked against it in the tests.
    """
    grid = np.linspace(SMALLEST_PHI, phi, 1801)
    bad = np.flatnonzero(_jammed(solve(lengths, grid)))
    bad = bad[grid[bad] > 2e-3]  # 0.1 degree: thinner than any stack of card
    if bad.size == 0:
        return 0.0
    last = int(bad[-1])
    if last == len(grid) - 1:
        return phi
    low, high = float(grid[last]), float(grid[last + 1])
    for _ in range(40):
        middle = (low + high) / 2
        if bool(_jammed(solve(lengths, np.array([middle])))[0]):
            low = middle
        else:
            high = middle
    return high
