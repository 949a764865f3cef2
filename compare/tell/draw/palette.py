"""How everything drawn looks: the one place of colours, line widths and sizes of text.

Colours are RGB from the palette of Okabe and Ito ("Color Universal Design", 2008), which stays distinct with
the common kinds of colour blindness; what is told apart by colour differs in width, dashes or shape as well.
Widths and sizes that belong to a photo are px of a picture `PHOTO_WIDTH` wide.
"""

from dataclasses import dataclass
from typing import Final

Colour = tuple[int, int, int]

INK: Final[Colour] = (38, 42, 48)
DARK: Final[Colour] = (20, 22, 26)
GREY: Final[Colour] = (122, 127, 134)
PALE: Final[Colour] = (226, 229, 233)
WHITE: Final[Colour] = (255, 255, 255)
ORANGE: Final[Colour] = (230, 159, 0)
BLUE: Final[Colour] = (0, 114, 178)
GREEN: Final[Colour] = (0, 158, 115)
VERMILLION: Final[Colour] = (213, 94, 0)
PURPLE: Final[Colour] = (170, 92, 136)
SKY: Final[Colour] = (86, 180, 233)
ALLOWED: Final[Colour] = (232, 244, 240)
BAR: Final[Colour] = (205, 221, 234)

HEAD_GOOD: Final[Colour] = (0, 110, 80)
HEAD_BAD: Final[Colour] = (165, 60, 0)
HEAD_DOUBT: Final[Colour] = (90, 90, 96)
HEAD_PLAIN: Final[Colour] = (60, 66, 74)

PHOTO_WIDTH: Final = 1600  # px of a finished picture on a photo
HEAD_TEXT: Final = 44  # px; headline of such a picture
LOUD_TEXT: Final = 40  # px; a fault: legible on a phone without zooming
CALM_TEXT: Final = 27  # px; figures and lists, 1.7 % of the width
JOINT: Final = 8.0  # px, radius
HAND: Final = 10.0  # px, half a diagonal of the mark of a joint pointed at by hand


@dataclass(frozen=True, slots=True)
class Pen:
    """How a kind of line looks; `dash` 0 is solid, `halo` a dark rim that parts it from a photo."""

    colour: Colour
    width: float
    dash: float = 0.0
    halo: bool = False


MEASURED: Final = Pen(ORANGE, 4, halo=True)
DESIGN: Final = Pen(SKY, 3, dash=15, halo=True)
FAULT: Final = Pen(VERMILLION, 8, halo=True)
LEADER: Final = Pen(WHITE, 2, halo=True)
LOUD_LEADER: Final = Pen(VERMILLION, 3, halo=True)
CURVES: Final[tuple[Colour, ...]] = (BLUE, ORANGE, GREEN, PURPLE, SKY, VERMILLION)
