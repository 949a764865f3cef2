"""The arrays that everything computes with, named once by what their numbers are."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Measurements and all that is computed from them."""
Single = NDArray[np.float32]
"""Pictures resampled or filtered: a photo has no more digits."""
Pixels = NDArray[np.uint8]
"""A photo or a drawing, its grey values or its colours (blue, green, red), 0 to 255."""
