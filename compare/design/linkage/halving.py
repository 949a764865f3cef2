"""Where along a range something changes, by halving."""

from collections.abc import Callable

ROUNDS = 40  # halves a range of pi to 3e-12


def halved(low: float, high: float, like_low: Callable[[float], bool]) -> tuple[float, float]:
    """Narrow (low, high) down to the place where `like_low` changes from true to false."""
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        if like_low(middle):
            low = middle
        else:
            high = middle
    return low, high
