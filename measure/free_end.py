"""The cut edge of a panel: where its near end stops along its own line."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from measure.strip import Curve, Plane

Array = NDArray[np.float64]

REACH_MM = 6.0
WINDOW_MM = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """Where the panel ends: mm along the curve from its start, standard uncertainty, and evidence."""

    along_mm: float
    err_mm: float
    score: float


def find_ending(
    plane: Plane, curve: Curve, expected_mm: float, card_mm: float, blur_mm: float, outward_sign: float
) -> Ending | None:
    """Find the sharp step where the card gives way to what lies beyond its cut edge.

    Looked for in the stripe itself and, sheared back to the near end, in the face just beyond the stripe.

    Parameters
    ----------
    plane : where to read.
    curve : middle line of the near end, running outward.
    expected_mm : expected length from curve.a; searched within +-6 mm, an ending near it being preferred.
    card_mm, blur_mm : thickness of the card, blur of the photo.
    outward_sign : +1 if the background side is to the left of the curve.
    """
    scale = plane.view.px_per_mm(curve.b, plane.z_mm)
    h = float(np.clip(0.5 / scale, 0.03, 0.1))
    n = int((REACH_MM + WINDOW_MM) / h)
    at = np.linspace(expected_mm - n * h, expected_mm + n * h, 2 * n + 1)
    stripe = _rows(plane, curve, at, np.linspace(-0.3, 0.3, 3) * card_mm * outward_sign)
    face = _rows(plane, curve, at, -outward_sign * (card_mm / 2 + np.linspace(0.15, 0.9, 6)))
    m = int(WINDOW_MM / h)
    where = at[m : len(at) - m]
    llr = sum(
        (_step_llr(row, h, m, max(blur_mm, 0.03), scale) for row in (stripe, face) if row is not None),
        np.zeros(len(where)),
    )
    score = np.minimum(llr, 20.0) + 0.02 * llr - 0.5 * np.minimum(((where - expected_mm) / 1.2) ** 2, 12.0)
    k = int(np.argmax(score))
    if llr[k] < 6 or k in (0, len(score) - 1):
        return None
    left, mid, right = llr[k - 1], llr[k], llr[k + 1]
    bend = left - 2 * mid + right
    move = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return Ending(along_mm=float(where[k] + h * np.clip(move, -1, 1)), err_mm=0.1, score=float(llr[k]))


def _rows(plane: Plane, curve: Curve, at: Array, across: Array) -> Array | None:
    """Mean grey value along the curve of some rows beside it, each moved along with the perspective.

    A face reaches back into the picture: its points lie on lines toward the eye. None if the eye is so
    nearly in the panel's plane that the face cannot be told from the stripe.
    """
    near = curve.points(at / curve.length)
    to_eye = plane.eye_mm[:2] - near
    height = to_eye @ curve.normal
    along = to_eye @ curve.tangent
    flat = bool(np.any(np.abs(height) < 8.0))
    if flat and float(np.max(np.abs(across))) > 0.35:
        return None
    lean = np.zeros_like(along) if flat else np.clip(along / height, -3, 3)
    outside = np.abs(across) > 0.35
    shift = across[None, :] * lean[:, None] * outside
    places = near[:, None, :] + across[None, :, None] * curve.normal + shift[:, :, None] * curve.tangent
    out: Array = plane.sample(places).astype(np.float64).mean(axis=1)
    return out


def _step_llr(line: Array, h: float, m: int, blur_mm: float, scale: float) -> Array:
    x = np.linspace(-m * h, m * h, 2 * m + 1)
    q, _ = np.linalg.qr(np.column_stack([np.ones_like(x), x, x**2, ndtr(x / blur_mm)]))
    windows = np.lib.stride_tricks.sliding_window_view(line, len(x))
    windows = windows - windows.mean(axis=1, keepdims=True)
    coef = windows @ q
    n_eff = 2 * m * h * min(scale, 1 / h)
    weight = n_eff / len(x)
    rest = np.maximum((windows**2).sum(axis=1) - (coef**2).sum(axis=1), 0) * weight
    out: Array = 0.5 * n_eff * np.log1p(weight * coef[:, -1] ** 2 / (rest + n_eff * 0.008**2))
    return out
