"""A verdict as a mark whose shape tells it as well as its colour: disc, diamond, open square."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from markupsafe import Markup

from compare.tell.draw import svg
from compare.verdict.conformity import Verdict

SIGN: Final[Mapping[Verdict, str]] = MappingProxyType(
    {Verdict.CONFORMS: "✓", Verdict.FAILS: "✗", Verdict.OPEN: "?"}
)
CSS: Final[Mapping[Verdict, str]] = MappingProxyType(
    {Verdict.CONFORMS: "good", Verdict.FAILS: "bad", Verdict.OPEN: "unsure"}
)
"""Class of what is told of a verdict in a page's style sheet."""
_MARK: Final[Mapping[Verdict, str]] = MappingProxyType(
    {Verdict.CONFORMS: "mark in", Verdict.FAILS: "mark out", Verdict.OPEN: "mark doubt"}
)


def verdict_mark(x: float, y: float, verdict: Verdict, *, radius: float = 5.0, title: str = "") -> Markup:
    """Return the mark of a verdict at a place; `title` is for a pointer."""
    inside = svg.element("title", title) if title else Markup("")
    css = _MARK[verdict]
    if verdict is Verdict.CONFORMS:
        return svg.element("circle", inside, cx=x, cy=y, r=radius, class_=css)
    if verdict is Verdict.FAILS:
        r = svg.num(1.5 * radius)
        return svg.element(
            "path",
            inside,
            d=f"M{svg.num(x - 1.5 * radius)} {svg.num(y)}l{r} -{r}l{r} {r}l-{r} {r}z",
            class_=css,
        )
    return svg.element(
        "rect", inside, x=x - radius, y=y - radius, width=2 * radius, height=2 * radius, class_=css
    )
