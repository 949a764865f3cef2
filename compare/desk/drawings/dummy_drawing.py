"""A design seen end-on, to scale, as SVG: pages, folds, legs and planes, each with its length."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from compare.design.linkage.pose import Pose
from compare.design.spec.spec import Spec
from compare.tell.draw import svg
from compare.units import unit_of
from compare.vocabulary import Kind, parsed
from measure.layout import Panel, Role

MARGIN: Final = 0.09
"""Of the drawing's width, around it."""

MANY: Final = 16  # lengths; more have smaller figures

CSS: Final[Mapping[Role, str]] = {
    Role.PAGE: "page",
    Role.FOLD: "fold",
    Role.LEG: "leg",
    Role.PLANE: "plane",
}


@dataclass(frozen=True, slots=True)
class DummyDrawing:
    """A drawing: its view box, its pieces, and how wide it is, mm (for the size of text in it)."""

    view_box: str
    pieces: Markup
    width_mm: float


def _css(panel: Panel) -> str:
    if parsed(panel.name).kind in (Kind.FLAP, Kind.STRAP):
        return "flap"
    return CSS[panel.role]


def _flat(pose: Pose, joint: str) -> Array:
    return np.asarray(pose.joints[joint], dtype=float) * (1.0, -1.0)


def dummy_drawing(spec: Spec, *, figures: bool = True, opening_deg: float | None = None) -> DummyDrawing:
    """Draw a design at its opening.

    Parameters
    ----------
    figures : True writes each length beside its strip. opening_deg : another opening than the design's.
    """
    phi = np.radians(spec.base.opening_deg if opening_deg is None else opening_deg)
    mechanism = spec.mechanism
    pose = mechanism.solve({}, float(phi))
    lines: list[Markup] = []
    for outline in mechanism.outlines:
        points = np.array([pose.points[p][:2] for p in outline]) * (1.0, -1.0)
        if np.isfinite(points).all():
            lines.append(svg.line(points, "outline"))
    ends: list[Array] = []
    for panel in sorted(mechanism.panels, key=lambda p: p.role is not Role.PAGE):
        points = np.array([_flat(pose, panel.joints[0]), _flat(pose, panel.joints[-1])])
        if np.isfinite(points).all():
            lines.append(svg.line(points, _css(panel), panel.name))
            ends.append(points)
    xy = np.vstack(ends) if ends else np.zeros((1, 2))
    low, high = xy.min(axis=0), xy.max(axis=0)
    width = float(max(high[0] - low[0], 40.0))
    dots = [
        svg.element("circle", cx=float(p[0]), cy=float(p[1]), r=width / 160, class_="joint")
        for j in pose.joints
        if np.isfinite(p := _flat(pose, j)).all() and parsed(j).kind not in (Kind.FORE_EDGE, Kind.PLANE_EDGE)
    ]
    words = _figures(spec, pose, width) if figures else []
    around = width * (MARGIN if figures else 0.05)
    low, high = low - around, high + around
    box = " ".join(svg.num(v) for v in (*low, *(high - low)))
    return DummyDrawing(box, svg.together([*lines, *dots, *words]), width)


def _figures(spec: Spec, pose: Pose, width: float) -> list[Markup]:
    """Write every length beside its middle, and tell by attributes which key of the spec it is."""
    unit = unit_of(spec.units)
    size = width / (34 if len(spec.mechanism.ends) <= MANY else 44)
    out = []
    taken: list[Array] = []
    for name, (a, b) in spec.mechanism.ends.items():
        if name not in spec.mechanism.lengths or a not in pose.joints or b not in pose.joints:
            continue
        p, q = _flat(pose, a), _flat(pose, b)
        if not np.isfinite([p, q]).all():
            continue
        text = f"{spec.mechanism.lengths[name] / unit.mm:.{unit.table_decimals}f}".rstrip("0").rstrip(".")
        at = _place(name, p, q, size, taken)
        taken.append(at)
        key = spec.building.key_of(name)
        out.append(
            svg.element(
                "text",
                svg.element("title", name) + text,
                x=float(at[0]),
                y=float(at[1]),
                class_="figure",
                font_size=size,
                text_anchor="middle",
                data_key=f"{key[0]}.{key[1]}" if key else None,
            )
        )
    return out


def _place(name: str, p: Array, q: Array, size: float, taken: list[Array]) -> Array:
    """Return where a figure stands: beside the middle of its length, clear of those that stand already."""
    along = (q - p) / max(float(np.hypot(*(q - p))), 1e-9)
    away = np.array([-along[1], along[0]])
    n = parsed(name)
    if abs(along[1]) > 0.5:
        outwards = 1.0 if n.side == "right" else -1.0
        away = away if away[0] * outwards > 0 else -away
        at = (p + q) / 2 + away * size * 1.3 + np.array([0.0, size * 0.35])
    else:
        up = -1.0 if n.on_plane or n.kind == Kind.PLANE else 1.0
        away = away if away[1] * up > 0 else -away
        share = 0.88 if n.kind in (Kind.PLANE, Kind.PAGE) else 0.5
        at = p + (q - p) * share + away * size * 0.9 + np.array([0.0, size * 0.35])
    while any(abs(at[0] - t[0]) < 2.2 * size and abs(at[1] - t[1]) < 1.05 * size for t in taken):
        at = at + np.array([0.0, np.sign(away[1]) or 1.0]) * size * 1.1
    out: Array = at
    return out
