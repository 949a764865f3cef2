"""The calibration board: a full checkerboard with coded tags, for `foldgauge camera`.

One pattern for all papers: large papers carry the same pattern, with the same ids, enlarged. A camera's lens
does not depend on the board's size, so a photo need not tell which one it shows.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from capture.sheet.marker_sheet import MarkerSheet, build_sheet

BOARD: Final[MarkerSheet] = build_sheet("board", (297.0, 210.0), 14.0, 18, 13, 340, full=True)
"""The board as printed on A4 and letter: 18 x 13 squares of 14 mm, lower left one black."""

BOARD_ENLARGED: Final[Mapping[str, float]] = MappingProxyType(
    {"a4": 1.0, "letter": 1.0, "a3": 10 / 7, "tabloid": 10 / 7}
)
"""How much larger the board is printed on each paper."""
