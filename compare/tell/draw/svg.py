"""Small pieces of SVG as text, safe to put into a page.

Numbers are written with at most two decimals. There is one way into an element, `element`, and it escapes all
text that is not made by this module: content and attributes alike. Colours come from the style
sheet by class, so that screen, dark screen and paper can differ.
"""

from collections.abc import Iterable

from markupsafe import Markup, escape

from capture.arrays import Array


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
