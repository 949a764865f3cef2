"""Is everything too large or too small together? Then the ruler is wrong, not the dummy.

A backdrop taken for an arch, a wrong standoff, or a sheet printed to fit the page changes all lengths by the
same factor. No cutting does that, so if one factor explains the measurements better than any fault does, the
set-up is to be mended before anything is said about the dummy.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.causes import CUTTING_SD, cutting_covariance, evidence, observed_lengths
from compare.conformity import COVERAGE
from compare.design.spec import Spec
from compare.measured import Measured, nominal_lengths

SCALE_SD: Final = 0.1  # how wrong a set-up can make the scale; a backdrop taken for an arch: about 10 %
LEAST: Final = 0.015  # below this it is left to the uncertainty budget
MUCH_BETTER: Final = 8.0  # difference of log evidence, odds of 3000 to 1: nobody is refused lightly


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonScale:
    """Factor by which all lengths are off together, minus 1, and its standard uncertainty."""

    off: float
    u: float

    def words(self) -> str:
        """Return e.g. "every length comes out 9 % short"."""
        way = "long" if self.off > 0 else "short"
        return f"every length comes out {100 * abs(self.off):.1f} % too {way}"


def common_scale(measured: Measured, spec: Spec) -> CommonScale | None:
    """Return the common scale error if the lengths speak for one, else None."""
    nominal = nominal_lengths(spec, measured.opening.value)
    names = observed_lengths(measured, spec)
    if len(names) < 4:
        return None
    size = np.array([nominal[k] for k in names])
    d = np.array([measured.lengths[k].value for k in names]) - size
    s = measured.inputs.covariance([measured.lengths[k] for k in names]) + cutting_covariance(
        names, CUTTING_SD
    )
    weight = np.linalg.inv(s)
    u = float(1 / np.sqrt(size @ weight @ size))
    off = u * u * float(size @ weight @ d)
    if abs(off) < max(LEAST, COVERAGE * u):
        return None
    scaled = s + SCALE_SD**2 * np.outer(size, size)
    plain, common = evidence(d[None], np.array([s, scaled]))[0]
    left = d - off * size
    fits = float(left @ weight @ left) < 3 * len(names)  # one factor leaves little over
    return CommonScale(off=off, u=u) if common - plain > MUCH_BETTER and fits else None
