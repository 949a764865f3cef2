"""Where a light card gives way to the dark field beyond it, across its edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SilhouetteNumbers:
    """Tuned numbers, found on path-traced photographs of shut dummies."""

    card_share: float = 0.3
    """Brighter than the field by that share of the page's contrast is card."""
    gap_mm: float = 2.0
    """A dark gap of less is the shadow of the page on card that sticks out under it, not the end."""
    level_mm: tuple[float, float] = (0.5, 1.4)
    """The grey values on either side of an edge are taken from here to there away from it."""


TUNED = SilhouetteNumbers()


def silhouette(profile: Array, across: Array, field: float, page: float) -> float:
    """Place of the edge at which a profile that begins on card gives way to the field; nan if it does not.

    For a blurred step in linear light half way between both grey values is the edge's own place.
    """
    h = float(across[1] - across[0])
    near, far = (int(v / h) for v in TUNED.level_mm)
    above = profile > field + TUNED.card_share * (page - field)
    if not above[0]:
        return float("nan")
    dark = [(first, last) for first, last in runs(~above) if (last - first + 1) * h >= TUNED.gap_mm]
    if not dark:
        return float("nan")
    k = dark[0][0] - 1
    inner = profile[max(k - far, 0) : max(k - near, 1)]
    outer = profile[k + near : k + far]
    if len(outer) == 0:
        return float("nan")
    half = (float(np.median(inner)) + float(np.median(outer))) / 2
    i = int(np.flatnonzero(profile[: k + near] > half)[-1])
    if i + 1 >= len(profile) or profile[i] == profile[i + 1]:
        return float("nan")
    return float(across[i] + h * (profile[i] - half) / (profile[i] - profile[i + 1]))


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return runs of True as (first, last) index."""
    padded = np.concatenate([[False], flags, [False]]).astype(np.int8)
    change = np.flatnonzero(np.diff(padded))
    return [(int(a), int(b) - 1) for a, b in zip(change[::2], change[1::2], strict=True)]
