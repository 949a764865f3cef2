"""Drawings of lines, dots and words, written as SVG or as PNG from one description.

Colours are RGB from the palette of Okabe and Ito ("Color Universal Design", 2008), which stays distinct with
the common kinds of colour blindness. Units are picture units (one pixel at scale 1), y downwards.
"""

from dataclasses import dataclass, field
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from capture.arrays import Array

Colour = tuple[int, int, int]

INK: Final[Colour] = (38, 42, 48)
GREY: Final[Colour] = (125, 130, 138)
PALE: Final[Colour] = (226, 229, 233)
WHITE: Final[Colour] = (255, 255, 255)
ORANGE: Final[Colour] = (230, 159, 0)
BLUE: Final[Colour] = (0, 114, 178)
GREEN: Final[Colour] = (0, 158, 115)
VERMILLION: Final[Colour] = (213, 94, 0)
PURPLE: Final[Colour] = (170, 92, 136)
SKY: Final[Colour] = (86, 180, 233)

SMOOTH: Final = 3  # times finer than asked for, then reduced: Pillow draws hard edges
FAMILY: Final = "Helvetica, Arial, sans-serif"


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line through points (N, 2); `dash` > 0 breaks it."""

    points: Array
    colour: Colour
    width: float = 1.5
    dash: float = 0.0


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled circle with a rim of the same colour."""

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


Mark = Line | Dot | Bar | Words


@dataclass(slots=True)
class Sketch:
    """A picture in the making."""

    width: float
    height: float
    marks: list[Mark] = field(default_factory=list)

    def add(self, *marks: Mark) -> None:
        """Add marks, later ones on top."""
        self.marks.extend(marks)

    def svg(self, *, comment: str = "") -> str:
        """Return the picture as an SVG document; the comment is ours, and has no "--" in it."""
        body = "\n".join(_svg_of(m) for m in self.marks)
        size = f'width="{self.width:g}" height="{self.height:g}" viewBox="0 0 {self.width:g} {self.height:g}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FAMILY}">\n'
            f"{f'<!-- {comment} -->' if comment else ''}"
            f'<rect width="100%" height="100%" fill="#ffffff"/>\n{body}\n</svg>\n'
        )

    def image(self, scale: float = 1.0, smooth: int = SMOOTH) -> Image.Image:
        """Return the picture as an RGB image, drawn `smooth` times finer and then reduced."""
        k = scale * smooth
        size = (round(self.width * k), round(self.height * k))
        image = Image.new("RGB", size, WHITE)
        draw = ImageDraw.Draw(image)
        for mark in self.marks:
            _paint(draw, mark, k)
        target = (round(self.width * scale), round(self.height * scale))
        return image.resize(target, Image.Resampling.LANCZOS)


def text_width(text: str, size: float) -> float:
    """Return about how wide a line of text is."""
    return float(ImageFont.load_default(size).getlength(text))


def _hex(c: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*c)


def _svg_of(m: Mark) -> str:
    if isinstance(m, Line):
        good = m.points[np.isfinite(m.points).all(axis=1)]
        path = " ".join(f"{x:.2f},{y:.2f}" for x, y in good)
        dash = f' stroke-dasharray="{m.dash:g} {m.dash:g}"' if m.dash else ""
        return (
            f'<polyline points="{path}" fill="none" stroke="{_hex(m.colour)}" stroke-width="{m.width:g}" '
            f'stroke-linecap="round" stroke-linejoin="round"{dash}/>'
        )
    if isinstance(m, Dot):
        return f'<circle cx="{m.x:.2f}" cy="{m.y:.2f}" r="{m.radius:g}" fill="{_hex(m.colour)}"/>'
    if isinstance(m, Bar):
        return (
            f'<rect x="{m.x:.2f}" y="{m.y:.2f}" width="{m.width:.2f}" height="{m.height:.2f}" '
            f'fill="{_hex(m.colour)}"/>'
        )
    return (
        f'<text x="{m.x:.2f}" y="{m.y:.2f}" font-size="{m.size:g}" fill="{_hex(m.colour)}" '
        f'text-anchor="{m.anchor}">{escape(m.text)}</text>'
    )


def _pieces(points: Array, dash: float) -> list[Array]:
    """Return the pieces a dashed pen draws; the whole line if dash is 0."""
    good = points[np.isfinite(points).all(axis=1)]
    if dash <= 0 or len(good) < 2:
        return [good]
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(good, axis=0).T))])
    out = []
    for start in np.arange(0.0, s[-1], 2 * dash):
        at = np.unique(
            np.concatenate([[start], s[(s > start) & (s < start + dash)], [min(start + dash, s[-1])]])
        )
        out.append(np.stack([np.interp(at, s, good[:, i]) for i in (0, 1)], axis=1))
    return out


def _paint(draw: ImageDraw.ImageDraw, m: Mark, k: float) -> None:
    if isinstance(m, Line):
        for piece in _pieces(m.points, m.dash):
            if len(piece) > 1:
                flat = [(float(x) * k, float(y) * k) for x, y in piece]
                width = max(round(m.width * k), 1)
                draw.line(flat, fill=m.colour, width=width, joint="curve")
                for x, y in (flat[0], flat[-1]):
                    r = m.width * k / 2
                    draw.ellipse((x - r, y - r, x + r, y + r), fill=m.colour)
    elif isinstance(m, Dot):
        x, y, r = m.x * k, m.y * k, m.radius * k
        draw.ellipse((x - r, y - r, x + r, y + r), fill=m.colour)
    elif isinstance(m, Bar):
        x, y = m.x * k, m.y * k
        draw.rectangle((x, y, x + m.width * k - 1, y + m.height * k - 1), fill=m.colour)
    else:
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[m.anchor]
        draw.text(
            (m.x * k, m.y * k), m.text, fill=m.colour, font=ImageFont.load_default(m.size * k), anchor=anchor
        )
