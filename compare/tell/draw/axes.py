"""Scales of charts."""

import math
from typing import Final

STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)  # of a power of ten


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values between two ends, about `most` of them and never many more."""
    rough = max(high - low, 1e-9) / most
    power = 10 ** math.floor(math.log10(rough))
    step = next(s * power for s in STEPS if s * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]
