"""The cut edge of a panel: where its near end stops along its own line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.candidate_lines import crest_shift
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane

REACH_MM = 9.0
WINDOW_MM = 0.9
CLEAR = 20.0
NEAR_MM = 1.2
LEAST = 12.0  # less evidence is no edge
RIVAL = 5.0  # an edge whose evidence is behind by less may be the right one
TONE_SHARE = 0.08  # standard deviation of a card's tone along it, as a share of the tone
TONE_FLOOR = 0.005  # and never less than this, full scale = 1
CELL_MM = 0.5  # so much of another tone counts once
CELL_CAP = 4.0  # and not more than this (log-likelihood units)
STRIPE_CAP = 8.0  # tabs and layers change the stripe's tone, too
BEYOND_MM = 3.0  # so far beyond its end the card must not go on
KNOWN_MM = 1.0  # an edge this near to a place where another panel's edge crosses may be that edge
NEAR_COST, FAR_COST = 15.0, 6.0
KNOWN_ERR_MM = 1.0
FAINT_ERR_MM = 0.8
SHORT_MM = 5.0  # a plane may be cut too short by so much
HINT = 10.0  # evidence for a step in the cut edge alone
AT_LEG_ERR_MM = 0.3  # an end designed to lie where a leg's edge crosses


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """Where the panel ends: mm along the curve from its start, standard uncertainty, and evidence."""

    along_mm: float
    err_mm: float
    score: float


def find_ending(
    plane: MeasuringPlane,
    curve: Curve,
    expected_mm: float,
    *,
    card_mm: float,
    depth_mm: float,
    blur_mm: float,
    outward_sign: float,
    joint_mm: float = 0.0,
    near_ends_mm: Sequence[float] = (),
    far_ends_mm: Sequence[float] = (),
) -> Ending | None:
    """Find the sharp step where the card gives way to what lies beyond its cut edge.

    Looked for in the stripe itself and, sheared back to the near end, in the face just beyond the stripe. Up
    to the end the card keeps its tone, beyond it something else is seen.

    Parameters
    ----------
    plane : where to read.
    curve : middle line of the near end, running outward.
    expected_mm : expected length from curve.a; searched within +-6 mm, an ending near it being preferred.
    card_mm, depth_mm, blur_mm : thickness of the card, depth of the panel, blur of the photo.
    outward_sign : +1 if the background side is to the left of the curve.
    joint_mm : where the last joint before the end lies (the leg's top).
    near_ends_mm, far_ends_mm : where near and far ends of other panels cross the curve: an end found there
        may be theirs.
    """
    scale = plane.view.px_per_mm(curve.b, plane.z_mm)
    h = float(np.clip(0.5 / scale, 0.03, 0.1))
    n = int((REACH_MM + WINDOW_MM) / h)
    at = np.linspace(expected_mm - n * h, expected_mm + n * h, 2 * n + 1)
    m = int(WINDOW_MM / h)
    where = at[m : len(at) - m]
    stripe = _rows(plane, curve, at, np.linspace(-0.3, 0.3, 3) * card_mm * outward_sign).mean(axis=1)
    blur = max(blur_mm, 0.03)
    own = _step_llr(stripe, h, m, blur, scale, 0.008)
    llr = 0.5 * np.minimum(own, CLEAR)
    inner = _inner_stretch(at, expected_mm, joint_mm)
    change = 0.5 * _change(stripe, inner, h, m)
    face = _face_offsets(plane, curve, expected_mm, card_mm, depth_mm, outward_sign)
    if len(face):
        # Averaged along the panel's own side edge, that edge stays sharp and everything else washes out.
        side = _rows(plane, curve, at, face).mean(axis=1)
        llr = llr + np.minimum(_step_llr(side, h, m, blur, scale, 0.004), CLEAR)
        change = _change(side, inner, h, m) + np.clip(change, -STRIPE_CAP, STRIPE_CAP)
    # A clear edge is a clear edge; of several the one nearest the expected place is taken.
    score = llr + change - 0.5 * np.minimum(((where - expected_mm) / NEAR_MM) ** 2, 16.0)
    surprising = np.abs(where - expected_mm) > KNOWN_ERR_MM
    for others, cost in ((near_ends_mm, NEAR_COST), (far_ends_mm, FAR_COST)):
        for other in others:
            score = score - cost * (surprising & (np.abs(where - other) < KNOWN_MM))
    k = int(np.argmax(score))
    if llr[k] + 0.5 * max(float(change[k]), 0.0) < LEAST or k in (0, len(score) - 1):
        return None
    crest = (score[1:-1] >= score[:-2]) & (score[1:-1] >= score[2:])
    rivals = where[1:-1][crest & (score[1:-1] > score[k] - RIVAL)]
    doubt = float(np.max(np.abs(rivals - where[k]))) if len(rivals) else 0.0
    move = float(crest_shift(llr[k - 1], llr[k], llr[k + 1]))
    # Another edge nearly as clear might be the right one: then the place is known only that well.
    err = 0.15 if doubt < 0.4 else max(0.15, 0.6 * doubt)
    if llr[k] < LEAST:  # the tone changes, but nowhere sharply
        err = max(err, FAINT_ERR_MM)
    if any(abs(where[k] - other) < KNOWN_MM for other in (*near_ends_mm, *far_ends_mm)):
        err = max(err, KNOWN_ERR_MM if surprising[k] else AT_LEG_ERR_MM)
    if any(abs(where[k] - near) < KNOWN_MM for near in near_ends_mm):
        # A plane cut too short hides on the strip that goes on to the leg: only its own cut edge stops.
        inside = (where < where[k] - KNOWN_MM) & (where > where[k] - SHORT_MM)
        if inside.any() and own[inside].max() > HINT:
            err = max(err, 0.6 * float(where[k] - where[inside][np.argmax(own[inside])]))
    return Ending(along_mm=float(where[k] + h * move), err_mm=err, score=float(llr[k]))


def _inner_stretch(at: Array, expected_mm: float, joint_mm: float) -> NDArray[np.bool_]:
    """Places (N,) where the card is certainly still there, beyond its last joint if there is room."""
    last = expected_mm - 6.0
    if at[0] < joint_mm and joint_mm + 2.5 < expected_mm:
        inner = (at > joint_mm + 1.0) & (at < max(last, joint_mm + 2.5))
    else:
        inner = at < last
    return inner


def _change(line: Array, inner: NDArray[np.bool_], h: float, m: int) -> Array:
    """Evidence (K,) for each place that the card's tone reaches just so far (log-likelihood units).

    Every stretch beyond a place that is of another tone speaks for the end lying there, every such stretch
    before it against.
    """
    tone = float(np.median(line[inner]))
    spread = 1.4826 * float(np.median(np.abs(line[inner] - tone)))
    sd = float(np.hypot(np.hypot(TONE_SHARE * tone, TONE_FLOOR), spread))
    other = np.minimum(0.5 * ((line - tone) / sd) ** 2, CELL_CAP) * (h / CELL_MM)
    total = np.concatenate([[0.0], np.cumsum(other)])
    k = np.arange(m, len(line) - m)
    gap, reach = int(0.3 / h), int(BEYOND_MM / h)
    before = total[np.maximum(k - gap, 0)]
    beyond = total[np.minimum(k + gap + reach, len(line))] - total[np.minimum(k + gap, len(line))]
    out: Array = beyond - 2 * before
    return out


def _face_offsets(
    plane: MeasuringPlane,
    curve: Curve,
    expected_mm: float,
    card_mm: float,
    depth_mm: float,
    outward_sign: float,
) -> Array:
    """Offsets across the curve at which the panel's face is seen beyond the stripe; none if edge-on."""
    end = curve.points(np.array([expected_mm / curve.length]))[0]
    height = abs(float((plane.eye_mm[:2] - end) @ curve.normal))
    visible = height * depth_mm / (plane.eye_mm[2] - plane.z_mm + depth_mm)
    first, last = card_mm / 2 + 0.25, min(0.8 * visible, 3.5)
    if last < first + 0.2:
        return np.zeros(0)
    out: Array = -outward_sign * np.arange(first, last, 0.2)
    return out


def _rows(plane: MeasuringPlane, curve: Curve, at: Array, across: Array) -> Array:
    """Grey values (N, R) along the curve at R offsets across, each moved along with the perspective.

    A face reaches back into the picture: its side edge runs from the near end toward the eye.
    """
    near = curve.points(at / curve.length)
    to_eye = plane.eye_mm[:2] - near
    height = to_eye @ curve.normal
    steep = np.abs(height) > 3.0
    lean = np.where(steep, (to_eye @ curve.tangent) / np.where(steep, height, 1.0), 0.0)
    shift = across[None, :] * lean[:, None]
    places = near[:, None, :] + across[None, :, None] * curve.normal + shift[:, :, None] * curve.tangent
    return plane.sample(places).astype(np.float64)


def _step_llr(line: Array, h: float, m: int, blur_mm: float, scale: float, floor: float) -> Array:
    x = np.linspace(-m * h, m * h, 2 * m + 1)
    q, _ = np.linalg.qr(np.column_stack([np.ones_like(x), x, x**2, ndtr(x / blur_mm)]))
    windows = np.lib.stride_tricks.sliding_window_view(line, len(x))
    windows = windows - windows.mean(axis=1, keepdims=True)
    coef = windows @ q
    n_eff = 2 * m * h * min(scale, 1 / h)
    weight = n_eff / len(x)
    rest = np.maximum((windows**2).sum(axis=1) - (coef**2).sum(axis=1), 0) * weight
    out: Array = 0.5 * n_eff * np.log1p(weight * coef[:, -1] ** 2 / (rest + n_eff * floor**2))
    return out
