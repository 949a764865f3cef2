"""The four-bar that every folded loop comes down to, in closed form.

Source of the formulas: the law of cosines in the two triangles on either side of a four-bar's diagonal,
written with half angles so that nothing cancels near closed; checked in tests against the loop closure,
Freudenstein's equation and a textbook position table.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from capture.arrays import Array
from compare.design.linkage.pose import as_array

ROUNDING: Final = 1e-12  # a closing error below this share of the loop's length is rounding


def four_bar(
    a: ArrayLike, b: ArrayLike, p: ArrayLike, q: ArrayLike, theta: ArrayLike, *, branch: int = 1
) -> tuple[Array, Array]:
    """Panel angles at P and Q of the four-bar O-P-X-Q.

    Corner O holds the angle `theta` between sides a (O to P) and b (O to Q); the far corner X has PX = p
    and QX = q.

    Parameters
    ----------
    a, b, p, q : side lengths, mm.
    theta : angle at O, rad, above 0; a page bent back (a little over pi) is allowed.
    branch : +1 open, -1 crossed.

    Returns
    -------
    angle of PX to the continuation of OP, and of QX to the continuation of OQ (rad, 0 = straight on,
    counted towards the inside); nan where the loop cannot be assembled.
    """
    a, b, p, q, theta = (as_array(x) for x in (a, b, p, q, theta))
    closing = a + p - b - q
    closing = np.where(np.abs(closing) < ROUNDING * (a + b + p + q), 0.0, closing)
    with np.errstate(invalid="ignore", divide="ignore"):
        half = np.sin(theta / 2) ** 2
        s = (a * b * half + (a - b - p + q) * closing / 4) / (p * q)
        rho = 2 * np.arcsin(np.sqrt(s))  # nan outside 0..1: cannot be assembled, never clipped
        far = np.sin(rho / 2) ** 2
        w1_p = np.arctan2(b * np.sin(theta), (a - b) + 2 * b * half)
        w1_q = np.arctan2(a * np.sin(theta), (b - a) + 2 * a * half)
        w2_p = np.arctan2(q * np.sin(rho), (p - q) + 2 * q * far)
        w2_q = np.arctan2(p * np.sin(rho), (q - p) + 2 * p * far)
    return np.pi - w1_p - branch * w2_p, np.pi - w1_q - branch * w2_q
