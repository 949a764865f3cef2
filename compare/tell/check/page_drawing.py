"""Design and dummy drawn over each other, seen end-on, at true proportions in millimetres."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from markupsafe import Markup

from capture.arrays import Array
from compare.quantities.joint_quantities import FEET, ends_of
from compare.tell.check.laid_over import design_joints, drawn_joints, marked_lengths
from compare.tell.check.photo_marks import lengths_here
from compare.tell.draw import svg
from compare.units import unit_of
from compare.vocabulary import Kind, named, parsed
from measure.layout import Role
from measure.sides import SIDES

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


MARGIN: Final = 14.0  # mm
OFF: Final = 3.2  # mm from a line to its figure


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
    for item in here:
        e = ends[item.name]
        p, q = flat(np.array([profile.at(e.first), profile.at(e.second)]))
        at, anchor = _figure_place(item.name, p, q)
        loud = item.name in guilty
        figure = f"{'✗ ' if loud else ''}{unit.signed(item.deviation)}"
        parts.append(svg.words(figure, at[0], at[1], "loud" if loud else "calm", anchor=anchor))
    points = np.vstack([flat(profile.xy_mm), flat(np.array(list(design.values())))])
    points = points[np.all(np.isfinite(points), axis=1)]
    low, high = points.min(axis=0) - MARGIN, points.max(axis=0) + MARGIN
    box = " ".join(svg.num(v) for v in (*low, *(high - low)))
    return DrawingFigure(box, svg.together(parts))


def _figure_place(name: str, p: Array, q: Array) -> tuple[Array, str]:
    """Return where the figure of a length stands (y down), and how it is anchored."""
    middle = (p + q) / 2
    n = parsed(name)
    along = (q - p) / max(float(np.hypot(*(q - p))), 1e-9)
    if abs(along[1]) > 0.5:  # a standing strip: outwards of it
        right = n.side == "right"
        return middle + np.array([OFF if right else -OFF, 1.5]), "start" if right else "end"
    if n.kind == Kind.PLANE:  # at its end, where no shorter length lies over it
        return q + np.array([0.0, -2 * OFF]), "middle"
    if n.kind == Kind.PAGE:
        return q + np.array([0.0, 2 * OFF]), "middle"
    up = n.on_plane
    return middle + np.array([0.0, -OFF + 1 if up else OFF + 3]), "middle"
