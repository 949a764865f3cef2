"""Design and dummy drawn over each other, seen end-on, at true proportions in millimetres."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from compare.quantities.joint_quantities import FEET, ends_of
from compare.tell.check.laid_over import design_joints, drawn_joints, marked_lengths
from compare.tell.check.photo_marks import label_side, lengths_here
from compare.tell.draw import svg
from compare.tell.draw.labels import Label, place_labels
from compare.tell.draw.marks import Box
from compare.tell.draw.palette import CALM_TEXT
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item
from compare.vocabulary import Kind, named
from measure.layout import Role
from measure.sides import SIDES

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


MARGIN: Final = 14.0  # mm
FIGURE: Final = 4.2  # mm, size of the figures (in report.css, too)
LOUD: Final = 2.0  # weight of a figure that is at fault
SCALE: Final = CALM_TEXT / FIGURE  # labels are placed in px


@dataclass(frozen=True, slots=True)
class DrawingFigure:
    """The drawing: its view box and its pieces."""

    view_box: str
    pieces: Markup


def _level(points: Array, inspection: "Inspection") -> tuple[Array, Array]:
    """Return rotation and origin that lay the page line level with the spine (or the feet) at the origin."""
    design = design_joints(inspection)
    spine = design.get("spine", points.mean(axis=0))
    left, right = (design.get(named(Kind.FORE_EDGE, s)) for s in SIDES)
    along = (right - left) if left is not None and right is not None else np.array([1.0, 0.0])
    c, s = along / np.hypot(*along)
    return np.array([[c, s], [-s, c]]), spine


def drawing_figure(inspection: "Inspection") -> DrawingFigure:
    """Draw the measured dummy (solid) over the design (dashed), with the deviation of every length."""
    profile, findings, mechanism = inspection.profile, inspection.findings, inspection.spec.mechanism
    unit = unit_of(inspection.spec.units)
    design = design_joints(inspection)
    rot, origin = _level(profile.xy_mm, inspection)

    def flat(xy: Array) -> Array:
        out: Array = ((np.atleast_2d(xy) - origin) @ rot.T) * (1.0, -1.0)
        return out

    roles = {p.name: p.role for p in mechanism.panels}
    parts: list[Markup] = []
    for name, joints in drawn_joints(inspection).items():
        css = "design page" if roles[name] is Role.PAGE else "design"
        parts.append(svg.line(flat(np.array([design[j] for j in joints])), css, f"{name}, as designed"))
    ends, guilty = ends_of(mechanism), marked_lengths(findings)
    here = [i for i in findings.lengths if i.name in lengths_here(ends, profile)]
    drawn = [i for i in here if i.name != FEET or FEET in guilty]
    for item in drawn:
        e = ends[item.name]
        line = flat(np.array([profile.at(e.first), profile.at(e.second)]))
        if item.name in guilty:
            parts.append(svg.line(line, "fault", item.name))
        parts.append(svg.line(line, "measured", item.name))
    points = np.vstack([flat(profile.xy_mm), flat(np.array(list(design.values())))])
    points = points[np.all(np.isfinite(points), axis=1)]
    low, high = points.min(axis=0) - MARGIN, points.max(axis=0) + MARGIN
    told = [
        (i, flat(np.array([profile.at(ends[i.name].first), profile.at(ends[i.name].second)]))) for i in here
    ]
    parts += _figures(told, guilty, Box(*(float(v) for v in SCALE * np.concatenate([low, high]))), unit)
    box = " ".join(svg.num(v) for v in (*low, *(high - low)))
    return DrawingFigure(box, svg.together(parts))


def _figures(told: Sequence[tuple[Item, Array]], guilty: set[str], room: Box, unit: Unit) -> list[Markup]:
    """Return what lengths are off by, each beside its line (2, 2)."""
    labels = []
    for item, (p, q) in told:
        away, share = label_side(item.name, p, q)
        loud = item.name in guilty
        figure = f"{'✗ ' if loud else ''}{unit.signed(item.deviation)}"
        at = SCALE * (p + (q - p) * share)
        labels.append(Label(figure, at, away, weight=LOUD if loud else 1.0))
    out = []
    for placed in place_labels(labels, room, [(SCALE * p, SCALE * q) for _, (p, q) in told]):
        b = placed.box
        x, y = (b.x0 + b.x1) / 2 / SCALE, (b.y0 + b.y1) / 2 / SCALE + 0.36 * FIGURE
        css = "loud" if placed.label.weight == LOUD else "calm"
        out.append(svg.words(placed.label.text, x, y, css, anchor="middle"))
    return out
