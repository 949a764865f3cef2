"""What a picture is made of, whatever draws it; in picture units, y downwards."""

from dataclasses import dataclass, field
from typing import Final

from PIL import ImageFont

from capture.arrays import Array
from compare.tell.draw.palette import DARK, INK, Colour, Pen

SPACING: Final = 0.25  # of the size of text, between two of its lines


@dataclass(frozen=True, slots=True)
class Box:
    """Axis-parallel rectangle."""

    x0: float
    y0: float
    x1: float
    y1: float

    def overlap(self, other: "Box") -> float:
        """Return the area shared with another box."""
        w = min(self.x1, other.x1) - max(self.x0, other.x0)
        h = min(self.y1, other.y1) - max(self.y0, other.y0)
        return max(w, 0.0) * max(h, 0.0)

    def grown(self, by: float) -> "Box":
        """Return the box grown on all sides."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def outside(self, frame: "Box") -> float:
        """Return the area that lies outside a frame."""
        return (self.x1 - self.x0) * (self.y1 - self.y0) - self.overlap(frame)


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line through points (N, 2); `title` is what it is, for a pointer."""

    points: Array
    pen: Pen
    title: str = ""


@dataclass(frozen=True, slots=True)
class Dot:
    """A joint: a filled circle, with a dark rim if wanted."""

    x: float
    y: float
    radius: float
    colour: Colour
    rim: bool = False


@dataclass(frozen=True, slots=True)
class Diamond:
    """A joint that a hand pointed at: a square standing on its corner, with a dark rim."""

    x: float
    y: float
    radius: float
    colour: Colour


@dataclass(frozen=True, slots=True)
class Bar:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    colour: Colour


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; `anchor` is "start", "middle" or "end"; y is the base line."""

    x: float
    y: float
    text: str
    size: float = 13.0
    colour: Colour = INK
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Plate:
    """Text in the middle of a filled box with rounded corners (a circle if `round`)."""

    box: Box
    text: str
    size: float
    ink: Colour
    ground: Colour = DARK
    rim: Colour | None = None
    round: bool = False


Mark = Line | Dot | Diamond | Bar | Words | Plate


@dataclass(slots=True)
class Sketch:
    """A picture in the making, on white."""

    width: float
    height: float
    marks: list[Mark] = field(default_factory=list)

    def add(self, *marks: Mark) -> None:
        """Add marks, later ones on top; words and plates lie over all else."""
        self.marks.extend(marks)


def text_size(text: str, size: float) -> tuple[float, float]:
    """Return width and height of one or several lines of text, in the font that pictures are drawn with."""
    font = ImageFont.load_default(size)
    rows = text.split("\n")
    return max(float(font.getlength(r)) for r in rows), size * (len(rows) + SPACING * (len(rows) - 1)) * 0.95
