"""The two sides of a dummy as the camera sees it: the left page is on the left."""

from typing import Final

SIDES: Final[tuple[str, str]] = ("left", "right")


def opposite(side: str) -> str:
    """Return the other side."""
    return "left" if side == "right" else "right"
