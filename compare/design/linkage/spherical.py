"""Folds that meet in a point: the four-bar on a sphere, in closed form.

Sides are angles between fold lines through the point, corners are angles between panels. The formulas are
those of the flat four-bar (`compare.design.linkage.four_bar`) with the law of cosines on the sphere, again
written with half angles so that nothing cancels near closed. Source: law of cosines and four-part formula of
spherical trigonometry (Todhunter, Spherical Trigonometry, 1886, articles 37 and 44; recalled from memory);
checked in tests against vectors.
"""

from typing import Final

import numpy as np

from capture.arrays import Array

ROUNDING: Final = 1e-12  # rad; a closing error below this is rounding


def far_corner(a: Array, b: Array, p: Array, q: Array, theta: Array) -> Array:
    """Angle between the far panels of a spherical four-bar, rad; nan where it cannot be assembled.

    Corner O holds `theta` between sides a (to P) and b (to Q); the far corner X has XP = p, XQ = q.
    """
    closing = a + p - b - q
    closing = np.where(np.abs(closing) < ROUNDING, 0.0, closing)
    extra = np.sin(closing / 2) * np.sin((a - b - p + q) / 2)
    with np.errstate(invalid="ignore"):
        s = (np.sin(a) * np.sin(b) * np.sin(theta / 2) ** 2 + extra) / (np.sin(p) * np.sin(q))
        out: Array = 2 * np.arcsin(np.sqrt(s))
    return out


def angle_beside(a: Array, b: Array, theta: Array) -> Array:
    """Angle at P of the spherical triangle with sides OP = a, OQ = b and angle theta at O, rad."""
    out: Array = np.arctan2(
        np.sin(b) * np.sin(theta), np.sin(a - b) + 2 * np.cos(a) * np.sin(b) * np.sin(theta / 2) ** 2
    )
    return out


def panel_angles(a: Array, b: Array, p: Array, q: Array, theta: Array) -> tuple[Array, Array]:
    """Angle of panel PX to the continuation of OP, and of QX to that of OQ, rad (0 = straight on)."""
    rho = far_corner(a, b, p, q, theta)
    at_p = np.pi - angle_beside(a, b, theta) - angle_beside(p, q, rho)
    at_q = np.pi - angle_beside(b, a, theta) - angle_beside(q, p, rho)
    return at_p, at_q
