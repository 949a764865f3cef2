"""What a check says, drawn: lines over the photo, a rule for each length, the movement, a row of checks."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from compare.tell.draw import svg
from compare.tell.draw.verdict_marks import verdict_mark
from compare.verdict.conformity import Verdict

SIGN: Final = {"conforms": "✓", "does not conform": "✗", "too close to call": "?"}
CSS: Final = {"conforms": "good", "does not conform": "bad", "too close to call": "unsure"}
RULE_WIDTH, RULE_HEIGHT = 220.0, 30.0
MARGIN_MM: Final = 10.0
PLATE_TEXT: Final = 0.84  # plates are cut for another font than the browser's, which may be wider


def _points(line: Mapping[str, Any]) -> Any:
    return np.array(line["points"], dtype=float).reshape(-1, 2)


def _layer(drawn: Mapping[str, Any], name: str, css: str) -> Markup:
    return svg.together(svg.line(_points(line), css, str(line["name"])) for line in drawn[name])


@dataclass(frozen=True, slots=True)
class PhotoLayers:
    """The layers over the photo, joints last, to be taken hold of; and what its numbers stand for."""

    width: int
    height: int
    design: Markup
    measured: Markup
    faults: Markup
    labels: Markup
    listed: tuple[tuple[str, str, bool], ...]
    joints: Markup


def photo_layers(drawn: Mapping[str, Any]) -> PhotoLayers:
    """Return what is drawn over the picture of a check (its `drawn.json`)."""
    return PhotoLayers(
        width=int(drawn["width"]),
        height=int(drawn["height"]),
        design=_layer(drawn, "design", "design"),
        measured=_layer(drawn, "measured", "measured"),
        faults=_layer(drawn, "faults", "fault"),
        labels=svg.together([_layer(drawn, "leaders", "leader"), *(_plate(p) for p in drawn["labels"])]),
        listed=tuple((str(x["number"]), str(x["words"]), bool(x["loud"])) for x in drawn["listed"]),
        joints=svg.together(_joint(j) for j in drawn["joints"]),
    )


def _joint(joint: Mapping[str, Any]) -> Markup:
    x, y = (float(v) for v in joint["at"])
    css = "joint by-hand" if joint["hand"] else "joint"
    name = str(joint["name"])
    shape = (
        svg.element("rect", x=x - 9, y=y - 9, width=18.0, height=18.0, class_=css)
        if joint["hand"]
        else svg.element("circle", cx=x, cy=y, r=9.0, class_=css)
    )
    grip = svg.element("circle", cx=x, cy=y, r=30.0, class_="grip")
    return svg.element("g", svg.element("title", name) + grip + shape, data_joint=name, class_="of-joint")


def _plate(label: Mapping[str, Any]) -> Markup:
    css = "loud" if label["loud"] else "calm"
    if label["round"]:
        css += " number"
    size = float(label["size"]) * PLATE_TEXT
    x0, y0, x1, y1 = (float(v) for v in label["box"])
    radius = (x1 - x0) / 2 if label["round"] else 0.0
    parts = [svg.element("rect", x=x0, y=y0, width=x1 - x0, height=y1 - y0, rx=radius, class_=f"plate {css}")]
    rows = str(label["text"]).split("\n")
    top = (y0 + y1) / 2 - (len(rows) - 1) * size * 0.62 + size * 0.35
    for i, row in enumerate(rows):
        parts.append(
            svg.element(
                "text",
                row,
                x=(x0 + x1) / 2,
                y=top + i * size * 1.25,
                font_size=size,
                class_=f"plate {css}",
                text_anchor="middle",
            )
        )
    return svg.together(parts)


@dataclass(frozen=True, slots=True)
class Measure:
    """One row of lengths, ready to be shown: names, figures as text, verdict, the drawn rule."""

    name: str
    nominal: str
    measured: str
    expanded: str
    deviation: str
    verdict: str
    sign: str
    css: str
    remark: str
    rule: Markup


def measures(items: Mapping[str, Mapping[str, Any]], *, mm: float = 1.0, decimals: int = 2) -> list[Measure]:
    """Return rows of a result's items, the worst first.

    Parameters
    ----------
    items : name -> as in `check.json`. mm : size of the unit shown. decimals : shown of it.
    """
    reach = _reach(items)

    def shown(v: float | None, sign: str = "") -> str:
        return "–" if v is None else f"{round(v / mm, decimals) + 0.0:{sign}.{decimals}f}"

    out = []
    for name, item in items.items():
        deviation = shown(item["deviation"], "+")
        spoken = f"{name}: {deviation}, ± {shown(item['U'])}; {item['verdict']}"
        out.append(
            Measure(
                name=name,
                nominal=shown(item["nominal"]),
                measured=shown(item["measured"]),
                expanded=shown(item["U"]),
                deviation=deviation,
                verdict=str(item["verdict"]),
                sign=SIGN[item["verdict"]],
                css=CSS[item["verdict"]],
                remark=str(item.get("remark", "")),
                rule=_rule(item, reach, spoken),
            )
        )
    rank = {"bad": 0, "unsure": 1, "good": 2}
    return sorted(out, key=lambda m: rank[m.css])


def _reach(items: Mapping[str, Mapping[str, Any]]) -> float:
    limits = [abs(v) for i in items.values() for v in i["limits"] if v is not None]
    far = [abs(i["deviation"]) + (i["U"] or 0.0) for i in items.values() if i["deviation"] is not None]
    widest = max(limits, default=0.0) or max(far, default=0.0) or 1.0
    return float(min(max([1.3 * widest, *(1.05 * f for f in far)]), 4 * widest))


def _rule(item: Mapping[str, Any], reach: float, spoken: str) -> Markup:
    """Return a steel rule at a length: zero in the middle, the allowed part shaded, the reading on it."""
    middle, y = RULE_WIDTH / 2, RULE_HEIGHT / 2
    scale = (middle - 12) / reach

    def at(v: float) -> float:
        return middle + max(min(v, reach), -reach) * scale

    low, high = item["limits"]
    x0 = at(low) if low is not None else 0.0
    x1 = at(high) if high is not None else RULE_WIDTH
    step = 10.0 ** math.floor(math.log10(reach))
    ticks = [k * step / 2 for k in range(-40, 41) if abs(k * step / 2) <= reach]
    comb = "".join(f"M{svg.num(at(t))} {svg.num(RULE_HEIGHT)}v{-8 if t == 0 else -4}" for t in ticks)
    parts = [
        svg.element("title", spoken),
        svg.element("rect", x=x0, y=3.0, width=x1 - x0, height=RULE_HEIGHT - 6, class_="allowed"),
        svg.element("path", d=comb, class_="ticks"),
        svg.element("path", d=f"M{svg.num(middle)} 0V{svg.num(RULE_HEIGHT)}", class_="zero"),
    ]
    d, expanded = item["deviation"], item["U"]
    if d is not None:
        if expanded is not None:
            a, b = at(d - expanded), at(d + expanded)
            parts.append(
                svg.element(
                    "path",
                    d=f"M{svg.num(a)} {svg.num(y)}H{svg.num(b)}M{svg.num(a)} {svg.num(y - 5)}v10"
                    f"M{svg.num(b)} {svg.num(y - 5)}v10",
                    class_="whisker",
                )
            )
        parts.append(verdict_mark(at(d), y, Verdict(item["verdict"])))
    return svg.element(
        "svg",
        svg.together(parts),
        viewBox=f"0 0 {svg.num(RULE_WIDTH)} {svg.num(RULE_HEIGHT)}",
        class_="steel",
        role="img",
        aria_label=spoken,
    )


@dataclass(frozen=True, slots=True)
class MotionDrawing:
    """The slider's drawing when open, the data for it, its last step."""

    view_box: str
    pieces: Markup
    last: int


def motion_drawing(motion: Mapping[str, Any]) -> MotionDrawing:
    """Draw the dummy open, design dashed and as measured solid; a page's script moves it."""
    parts: list[Markup] = []
    every: list[Any] = []
    for kind in ("design", "built"):
        if motion.get(kind):
            for name, poses in motion[kind]["panels"].items():
                points = _sound(poses[0])
                every += [p for pose in poses for p in _sound(pose)]
                if len(points) > 1:
                    parts.append(svg.line(np.array(points), kind, str(name)))
    far = max(float(v) for v in motion["pages"].values())
    xy = np.array([*every, (-far, 0.0), (far, 0.0), (0.0, -far)], dtype=float)
    low, high = xy.min(axis=0) - MARGIN_MM, xy.max(axis=0) + MARGIN_MM
    box = " ".join(svg.num(v) for v in (*low, *(high - low)))
    return MotionDrawing(box, svg.together(parts), len(motion["openings"]) - 1)


def _sound(points: Sequence[Any]) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in points if x is not None and y is not None]


@dataclass(frozen=True, slots=True)
class LeanPoint:
    """Lean of one half in one check: degrees, its U, and the largest allowed; nan where unknown."""

    check: str
    deg: float
    expanded: float
    verdict: str


def lean_row(points: Sequence[LeanPoint], allowed: float, label: str) -> Markup:
    """Draw a half's lean from check to check, the oldest at the left, the allowed band behind it."""
    wide, tall, left = 460.0, 150.0, 44.0
    known = [p for p in points if math.isfinite(p.deg)]
    reach = max([allowed * 1.4, *(abs(p.deg) + p.expanded for p in known), 0.5]) * 1.08
    step = (wide - left - 30) / max(len(points) - 1, 1)

    def place(i: int, deg: float) -> tuple[float, float]:
        return left + 15 + i * step, tall / 2 - deg / reach * (tall / 2 - 12)

    top, bottom = place(0, allowed)[1], place(0, -allowed)[1]
    parts = [
        svg.element("title", label),
        svg.element("rect", x=left, y=top, width=wide - left, height=bottom - top, class_="allowed"),
        svg.element("path", d=f"M{svg.num(left)} {svg.num(tall / 2)}H{svg.num(wide)}", class_="zero"),
    ]
    for deg in (allowed, 0.0, -allowed):
        parts.append(svg.words(f"{deg:+.1f}°", left - 6, place(0, deg)[1] + 4, "axis", anchor="end"))
    way = [place(i, p.deg) for i, p in enumerate(points) if math.isfinite(p.deg)]
    if len(way) > 1:
        parts.append(svg.line(np.array(way), "way"))
    for i, p in enumerate(points):
        if not math.isfinite(p.deg):
            continue
        x, y = place(i, p.deg)
        if math.isfinite(p.expanded):
            a, b = place(i, p.deg + p.expanded)[1], place(i, p.deg - p.expanded)[1]
            parts.append(svg.element("path", d=f"M{svg.num(x)} {svg.num(a)}V{svg.num(b)}", class_="whisker"))
        parts.append(verdict_mark(x, y, Verdict(p.verdict) if p.verdict in CSS else Verdict.OPEN))
    return svg.element(
        "svg",
        svg.together(parts),
        viewBox=f"0 0 {svg.num(wide)} {svg.num(tall)}",
        class_="row",
        role="img",
        aria_label=label,
    )
