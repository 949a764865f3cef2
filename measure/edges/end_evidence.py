"""Where a card stops along its own line: sharp steps there, and how far it keeps its tone.

Looked at are the stripe itself and, sheared back to the near end, the face just beyond the stripe. Up to the
end the card keeps its tone, beyond it something else is seen.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from capture.arrays import Array
from measure.edges.edge_evidence import EndEvidence, Template
from measure.edges.stations import outer_sign
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class EndNumbers:
    """Tuned numbers; found on path-traced photographs of known dummies, cut up to 4 mm wrong."""

    window_mm: float = 0.9
    """Half width of the window in which a step is fitted."""
    least_blur_mm: float = 0.03
    """Card is not cut sharper."""
    clear: float = 20.0
    """Log-likelihood units: a clear edge is a clear edge, more contrast does not make it clearer."""
    floor: float = 0.008
    """Full scale = 1: noise of the stripe's grey values along it ..."""
    face_floor: float = 0.004
    """... and of the face's, which is averaged over its width."""
    own_share: float = 0.5
    """What the stripe's own evidence counts against the face's: tabs and layers change it, too."""
    stripe_tone_cap: float = 8.0
    """Evidence of the stripe's tone counts no more, where the face is seen (log-likelihood units)."""
    tone_share: float = 0.08
    """Standard deviation of a card's tone along it, as a share of the tone, ..."""
    tone_floor: float = 0.005
    """... and never less than this, full scale = 1."""
    cell_mm: float = 0.5
    """So much of another tone counts once ..."""
    cell_cap: float = 4.0
    """... and not more than this (log-likelihood units)."""
    beyond_mm: float = 3.0
    """So far beyond its end the card must not go on."""
    edge_gap_mm: float = 0.3
    """Blur and bevel: so near to the end its tone is not asked for."""
    inner_mm: float = 6.0
    """So far before the expected end the card is certainly still there; between joint and end this may be
    too far, then the first millimetres beyond the joint are taken:"""
    joint_clear_mm: float = 1.0
    joint_least_mm: float = 2.5
    face_clear_mm: float = 0.25
    """The face is looked at from so far beyond the stripe ..."""
    face_most_mm: float = 3.5
    """... to here at most, ..."""
    face_share: float = 0.8
    """... or to that share of its visible width, ..."""
    face_step_mm: float = 0.2
    """... in steps of this."""
    steep_mm: float = 3.0
    """A line that passes the eye's foot nearer than this is seen edge-on: no shear."""


TUNED = EndNumbers()


def end_evidence(
    plane: MeasuringPlane,
    curve: Curve,
    expected_mm: float,
    reach_mm: float,
    joint_mm: float,
    template: Template,
) -> EndEvidence:
    """Evidence for the card's end; see `measure.edges.edge_evidence.EdgeEvidence.ends`."""
    scale = plane.view.px_per_mm(curve.b, plane.z_mm)
    h = float(np.clip(0.5 / scale, 0.03, 0.1))
    n = int((reach_mm + TUNED.window_mm) / h)
    at = np.linspace(expected_mm - n * h, expected_mm + n * h, 2 * n + 1)
    m = int(TUNED.window_mm / h)
    blur = max(template.blur_mm, TUNED.least_blur_mm)
    sign = outer_sign(plane, curve)
    stripe = _rows(plane, curve, at, np.linspace(-0.3, 0.3, 3) * template.card_mm * sign).mean(axis=1)
    own = _step_llr(stripe, h, m, blur, scale, TUNED.floor)
    step = TUNED.own_share * np.minimum(own, TUNED.clear)
    inner = _inner_stretch(at, expected_mm, joint_mm)
    tone = TUNED.own_share * _tone_llr(stripe, inner, h, m)
    face = _face_offsets(plane, curve, expected_mm, template, sign)
    if len(face):
        # Averaged along the panel's own side edge, that edge stays sharp and everything else washes out.
        side = _rows(plane, curve, at, face).mean(axis=1)
        step = step + np.minimum(_step_llr(side, h, m, blur, scale, TUNED.face_floor), TUNED.clear)
        cap = TUNED.stripe_tone_cap
        tone = _tone_llr(side, inner, h, m) + np.clip(tone, -cap, cap)
    return EndEvidence(at_mm=at[m : len(at) - m], step_mm=h, own=own, step=step, tone=tone)


def _inner_stretch(at: Array, expected_mm: float, joint_mm: float) -> NDArray[np.bool_]:
    """Places (N,) where the card is certainly still there, beyond its last joint if there is room."""
    last = expected_mm - TUNED.inner_mm
    least = joint_mm + TUNED.joint_least_mm
    if at[0] < joint_mm and least < expected_mm:
        inner = (at > joint_mm + TUNED.joint_clear_mm) & (at < max(last, least))
    else:
        inner = at < last
    return inner


def _tone_llr(line: Array, inner: NDArray[np.bool_], h: float, m: int) -> Array:
    """Evidence (K,) for each place that the card's tone reaches just so far (log-likelihood units).

    Every stretch beyond a place that is of another tone speaks for the end lying there, every such stretch
    before it against.
    """
    tone = float(np.median(line[inner]))
    spread = 1.4826 * float(np.median(np.abs(line[inner] - tone)))
    sd = float(np.hypot(np.hypot(TUNED.tone_share * tone, TUNED.tone_floor), spread))
    other = np.minimum(0.5 * ((line - tone) / sd) ** 2, TUNED.cell_cap) * (h / TUNED.cell_mm)
    total = np.concatenate([[0.0], np.cumsum(other)])
    k = np.arange(m, len(line) - m)
    gap, reach = int(TUNED.edge_gap_mm / h), int(TUNED.beyond_mm / h)
    before = total[np.maximum(k - gap, 0)]
    beyond = total[np.minimum(k + gap + reach, len(line))] - total[np.minimum(k + gap, len(line))]
    out: Array = beyond - 2 * before
    return out


def _face_offsets(
    plane: MeasuringPlane, curve: Curve, expected_mm: float, template: Template, outward_sign: float
) -> Array:
    """Offsets across the curve at which the panel's face is seen beyond the stripe; none if edge-on."""
    end = curve.points(np.array([expected_mm / curve.length]))[0]
    height = abs(float((plane.eye_mm[:2] - end) @ curve.normal))
    depth_mm = template.depth_mm
    visible = height * depth_mm / (plane.eye_mm[2] - plane.z_mm + depth_mm)
    first = template.card_mm / 2 + TUNED.face_clear_mm
    last = min(TUNED.face_share * visible, TUNED.face_most_mm)
    if last < first + TUNED.face_step_mm:
        return np.zeros(0)
    out: Array = -outward_sign * np.arange(first, last, TUNED.face_step_mm)
    return out


def _rows(plane: MeasuringPlane, curve: Curve, at: Array, across: Array) -> Array:
    """Grey values (N, R) along the curve at R offsets across, each moved along with the perspective.

    A face reaches back into the picture: its side edge runs from the near end toward the eye.
    """
    near = curve.points(at / curve.length)
    to_eye = plane.eye_mm[:2] - near
    height = to_eye @ curve.normal
    steep = np.abs(height) > TUNED.steep_mm
    lean = np.where(steep, (to_eye @ curve.tangent) / np.where(steep, height, 1.0), 0.0)
    shift = across[None, :] * lean[:, None]
    places = near[:, None, :] + across[None, :, None] * curve.normal + shift[:, :, None] * curve.tangent
    return plane.sample(places).astype(np.float64)


def _step_llr(line: Array, h: float, m: int, blur_mm: float, scale: float, floor: float) -> Array:
    """Evidence (K,) for a step at each place of a line of grey values, given all that is smooth."""
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
