"""Small pieces of SVG as text, safe to put into a page.

Numbers are written with at most two decimals. There is one way into an element, `element`, and it escapes all
text that is not made by this module: content and attributes alike. Charts of a page take their colours from
the style sheet by class, so that screen, dark screen and paper can differ; marks (`compare.tell.draw.marks`)
bring their own from the palette.
"""

from collections.abc import Iterable
from typing import Final

import numpy as np
from markupsafe import Markup, escape

from capture.arrays import Array
from compare.tell.draw.marks import Bar, Diamond, Dot, Line, Mark, Plate, Sketch, Words, text_size
from compare.tell.draw.palette import DARK, WHITE, Colour

FAMILY: Final = "Helvetica, Arial, sans-serif"


def num(x: float) -> str:
    """Return a coordinate as short text."""
    return f"{round(float(x), 2) + 0.0:g}"


def path_d(points: Array) -> str:
    """Return the `d` of an open line through points (N, 2)."""
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in points)


def element(tag: str, content: str | Markup = "", **attributes: object) -> Markup:
    """Return one element; `class_` means class, underscores in names become hyphens; None is left out.

    Content that is plain text is escaped; only `Markup`, made by this module, goes in as it is.
    """
    named = {
        ("class" if k == "class_" else k.replace("_", "-")): v for k, v in attributes.items() if v is not None
    }
    attrs = "".join(f' {k}="{num(v) if isinstance(v, float) else escape(str(v))}"' for k, v in named.items())
    if not content:
        return Markup(f"<{tag}{attrs}/>")
    return Markup(f"<{tag}{attrs}>{escape(content)}</{tag}>")


def line(points: Array, css: str, title: str = "") -> Markup:
    """Return a line through points with a class and, for the pointer, a title."""
    inside = element("title", title) if title else ""
    return element("path", inside, d=path_d(points), class_=css, vector_effect="non-scaling-stroke")


def words(text: str, x: float, y: float, css: str, *, anchor: str = "start") -> Markup:
    """Return a line of text."""
    return element("text", text, x=float(x), y=float(y), class_=css, text_anchor=anchor)


def together(parts: Iterable[Markup]) -> Markup:
    """Join pieces."""
    return Markup("").join(parts)


def document(sketch: Sketch, *, comment: str = "") -> str:
    """Return a sketch as an SVG document; the comment is ours, and has no "--" in it."""
    w, h = f"{sketch.width:g}", f"{sketch.height:g}"
    size = f'width="{w}" height="{h}" viewBox="0 0 {w} {h}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FAMILY}">\n'
        f"{f'<!-- {comment} -->' if comment else ''}"
        f'<rect width="100%" height="100%" fill="#ffffff"/>\n{drawn(sketch.marks)}\n</svg>\n'
    )


def drawn(marks: Iterable[Mark], *, on_screen: float = 0.0) -> Markup:
    """Return marks in their own colours.

    Parameters
    ----------
    on_screen : 0 = lines are as wide as the picture shows them; else a line has its width times this, in
        pixels of the screen, however far the picture is magnified.
    """
    return Markup("\n").join(part for m in marks for part in _pieces(m, on_screen))


def _hex(c: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*c)


def _pieces(m: Mark, on_screen: float) -> list[Markup]:
    """Return the elements of one mark, what lies below first."""
    match m:
        case Line(points, pen, title):
            d = path_d(points[np.isfinite(points).all(axis=1)])
            k = on_screen or 1.0
            dash = f"{num(k * pen.dash)} {num(k * pen.dash)}" if pen.dash else None
            inks = [(DARK, pen.width * 1.5 + 2)] if pen.halo else []
            inside = element("title", title) if title else Markup("")
            return [
                element(
                    "path",
                    inside if colour == pen.colour else "",
                    d=d,
                    fill="none",
                    stroke=_hex(colour),
                    stroke_width=k * width,
                    stroke_linecap="butt" if dash else "round",
                    stroke_linejoin="round",
                    stroke_dasharray=dash,
                    vector_effect="non-scaling-stroke" if on_screen else None,
                )
                for colour, width in (*inks, (pen.colour, pen.width))
            ]
        case Dot(x, y, radius, colour, rim):
            ink, width = (_hex(DARK), 2.0) if rim else (None, None)
            return [
                element(
                    "circle",
                    cx=float(x),
                    cy=float(y),
                    r=float(radius),
                    fill=_hex(colour),
                    stroke=ink,
                    stroke_width=width,
                )
            ]
        case Diamond(x, y, r, colour):
            d = f"M{num(x - r)} {num(y)}L{num(x)} {num(y - r)}L{num(x + r)} {num(y)}L{num(x)} {num(y + r)}Z"
            return [element("path", d=d, fill=_hex(colour), stroke=_hex(DARK), stroke_width=2.0)]
        case Bar(x, y, width, height, colour):
            return [
                element(
                    "rect",
                    x=float(x),
                    y=float(y),
                    width=float(width),
                    height=float(height),
                    fill=_hex(colour),
                )
            ]
        case Words(x, y, text, size, colour, anchor):
            return [_text(text, x, y, size, colour, anchor)]
        case Plate():
            return _plate(m)


def _text(
    text: str, x: float, y: float, size: float, colour: Colour, anchor: str, wide: float = 0.0
) -> Markup:
    return element(
        "text",
        text,
        x=float(x),
        y=float(y),
        font_size=float(size),
        fill=_hex(colour),
        text_anchor=anchor,
        textLength=wide or None,
        lengthAdjust="spacingAndGlyphs" if wide else None,
    )


def _plate(m: Plate) -> list[Markup]:
    """Return a plate; its words are as wide as they were when it was made, whatever font a reader has."""
    b = m.box
    rows = m.text.split("\n")
    top = (b.y0 + b.y1) / 2 - (len(rows) - 1) * m.size * 0.6 + m.size * 0.35
    frame = element(
        "rect",
        x=float(b.x0),
        y=float(b.y0),
        width=float(b.x1 - b.x0),
        height=float(b.y1 - b.y0),
        rx=float((b.y1 - b.y0) / 2 if m.round else m.size * 0.3),
        fill=_hex(m.ground),
        stroke=_hex(m.rim) if m.rim else None,
        stroke_width=(3.0 if m.rim == WHITE else 1.0) if m.rim else None,
    )
    middle = (b.x0 + b.x1) / 2
    words = [
        _text(row, middle, top + i * m.size * 1.2, m.size, m.ink, "middle", text_size(row, m.size)[0])
        for i, row in enumerate(rows)
    ]
    return [frame, *words]
