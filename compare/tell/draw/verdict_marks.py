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


def verdict_mark(
    x: float, y: float, verdict: Verdict | None, *, radius: float = 5.0, title: str = "", beyond: bool = False
) -> Markup:
    """Return the mark of a verdict at a place.

    Parameters
    ----------
    verdict : None for a point that has none: a disc in the colour of the course, never the good one.
    title : for a pointer. beyond : measured outside its limits, though too close to call.
    """
    inside = svg.element("title", title) if title else Markup("")
    css = "mark plain" if verdict is None else _MARK[verdict]
    if verdict in (Verdict.CONFORMS, None):
        return svg.element("circle", inside, cx=x, cy=y, r=radius, class_=css)
    if verdict is Verdict.FAILS:
        r = svg.num(1.5 * radius)
        return svg.element(
            "path",
            inside,
            d=f"M{svg.num(x - 1.5 * radius)} {svg.num(y)}l{r} -{r}l{r} {r}l-{r} {r}z",
            class_=css,
        )
    css += " beyond" if beyond else ""
    return svg.element(
        "rect", inside, x=x - radius, y=y - radius, width=2 * radius, height=2 * radius, class_=css
    )
