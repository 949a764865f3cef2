"""What is drawn over a photo: measured panels, the design laid over them, what is at fault, labels.

All in pixels of the photo cut to the dummy and scaled to one width; the annotated picture and the report draw
the same marks. What conforms has no label; what fails has one; what is in doubt, and what finds no room, has
a number and a line in the list below the picture.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import ConvexHull

from capture.arrays import Array
from compare.design.linkage.mechanism import Mechanism
from compare.quantities.joint_quantities import RIDGE_GAP, End, bearing_joints, ends_of
from compare.quantities.measured import feet_lengths
from compare.tell.check.laid_over import design_joints, drawn_joints, marked_lengths
from compare.tell.draw.labels import Label, label_marks, place_labels
from compare.tell.draw.marks import Box, Diamond, Dot, Line, Mark
from compare.tell.draw.palette import DESIGN, FAULT, HAND, JOINT, MEASURED, ORANGE, PHOTO_WIDTH, WHITE
from compare.tell.draw.photo_frame import Frame
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.vocabulary import Kind, named, parsed
from measure.profile import PanelFit, Profile
from measure.sides import SIDES

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


SEEN_BOW: Final = 0.3  # mm; a straighter panel is drawn straight
MOST_PLATES: Final = 4  # more would hide what they are about


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in the picture an item is told, and on which side of its line."""

    item: Item
    at: Array
    away: Array
    loud: bool


@dataclass(frozen=True, slots=True)
class Listed:
    """A line of the list below the picture: its number there, the item, whether it is at fault."""

    number: int
    item: Item
    loud: bool


@dataclass(frozen=True, slots=True, eq=False)
class PhotoMarks:
    """What is drawn over the photo, layer by layer, and what its numbers stand for."""

    design: tuple[Mark, ...]
    faults: tuple[Mark, ...]
    measured: tuple[Mark, ...]
    labels: tuple[Mark, ...]
    listed: tuple[Listed, ...]


def frame_of(inspection: "Inspection") -> Frame:
    """Return the frame that shows the measured and the designed dummy."""
    profile = inspection.profile
    wide = any(named(Kind.PAGE, s) in marked_lengths(inspection.findings) for s in SIDES)
    seen = _body(profile, with_pages=wide)
    design = design_joints(inspection).items()
    meant = np.array([xy for j, xy in design if parsed(j).kind != Kind.FORE_EDGE])
    return Frame(inspection, np.vstack([seen, meant]), inspection.spec.card.strip_depth)


def _body(profile: Profile, *, with_pages: bool = False) -> Array:
    """Return the joints seen, (N, 2) mm, without the pages' far ends."""
    shown = [j for j in profile.joints if with_pages or parsed(j).kind != Kind.FORE_EDGE]
    xy = np.array([profile.at(j) for j in shown])
    out: Array = xy[np.all(np.isfinite(xy), axis=1)]
    return out


def marks_of(inspection: "Inspection", frame: Frame, height: int) -> PhotoMarks:
    """Return lines, joints and labels of a picture so many pixels high."""
    profile, mechanism = inspection.profile, inspection.spec.mechanism
    findings = inspection.findings
    design, ends = design_joints(inspection), ends_of(mechanism)
    here = lengths_here(ends, profile)
    meant = [
        Line(frame.px(np.array([design[j] for j in joints])), DESIGN, f"{name}, as designed")
        for name, joints in drawn_joints(inspection).items()
    ]
    on = {
        p.name: [j for e in ends.values() if e.panel == p.name for j in (e.first, e.second)]
        for p in mechanism.panels
    }
    found = [
        Line(frame.px(_between_joints(panel, profile, on.get(panel.name, []))), MEASURED, panel.name)
        for panel in profile.panels
        if panel.found and len(panel.line_mm) > 1
    ]
    faults = []
    for name in sorted(marked_lengths(findings) & here):
        a, b = _fault_ends(name, ends[name], profile, mechanism)
        faults.append(Line(frame.px(np.array([profile.at(a), profile.at(b)])), FAULT, f"{name}, at fault"))
    told = [ends[i.name] for i in findings.lengths if i.name in here]
    seen = dict.fromkeys(j for e in told for j in (e.first, e.second))
    dots = [joint_mark(profile, j, frame) for j in seen]
    labels, listed = _labels(_spots(inspection, frame), unit_of(inspection.spec.units))
    body = _body(profile)
    outline = np.vstack([frame.px(body), frame.px(body, back=True)])
    placed = place_labels(
        labels,
        Box(6, 6, PHOTO_WIDTH - 6, height - 6),
        [(m.points[0], m.points[-1]) for m in found],
        outline[ConvexHull(outline).vertices],
    )
    return PhotoMarks(tuple(meant), tuple(faults), (*found, *dots), tuple(label_marks(placed)), tuple(listed))


def lengths_here(ends: Mapping[str, End], profile: Profile) -> set[str]:
    """Return the lengths both ends of which this photo shows; others may be known from another photo."""
    return {k for k, e in ends.items() if e.first in profile.joints and e.second in profile.joints}


def joint_mark(profile: Profile, joint: str, frame: Frame) -> Mark:
    """Return the mark of a joint: a dot, or a diamond where a hand pointed at it."""
    x, y = (float(v) for v in frame.px(profile.at(joint))[0])
    return Diamond(x, y, HAND, WHITE) if joint in profile.by_hand else Dot(x, y, JOINT, ORANGE, rim=True)


def _spots(inspection: "Inspection", frame: Frame) -> list[Spot]:
    """Return what has to be told in the picture, the worst first: what does not conform, and where it is."""
    findings, profile = inspection.findings, inspection.profile
    mechanism = inspection.spec.mechanism
    marked, ends = marked_lengths(findings), ends_of(mechanism)
    feet = feet_lengths(mechanism) or () if Kind.FEET in findings.measured.lengths else ()
    out: list[Spot] = []
    here = lengths_here(ends, profile)
    for item in (i for i in findings.lengths if i.name in here):
        if item.name in marked or (item.verdict is Verdict.OPEN and item.name not in feet):
            e = ends[item.name]
            p, q = frame.px(np.array([profile.at(e.first), profile.at(e.second)]))
            away, share = label_side(item.name, p, q)
            out.append(Spot(item, p + (q - p) * share, away, item.name in marked))
    panels = {p.name: p for p in mechanism.panels}
    for n in findings.leans:
        if n.item.verdict is not Verdict.CONFORMS:
            joints = panels[mechanism.half(n.side).plane].joints
            seen = [profile.at(j) for j in joints if j in profile.joints]
            at = frame.px(seen[0] + 0.2 * (seen[1] - seen[0]))[0]
            out.append(Spot(n.item, at, np.array([0.0, -1.0]), n.item.verdict is Verdict.FAILS))
    return sorted(out, key=lambda s: (not s.loud, s.item.probability))


def _labels(spots: Sequence[Spot], unit: Unit) -> tuple[list[Label], list[Listed]]:
    """Return the labels of all spots, and the list of those that have but a number."""
    labels: list[Label] = []
    listed: list[Listed] = []
    for spot in spots:
        if spot.loud and len(labels) < MOST_PLATES:
            text = f"{spot.item.name}\n{_off_words(spot.item, unit)}"
            labels.append(Label(text, spot.at, spot.away, weight=2.0, loud=True))
        else:
            listed.append(Listed(len(listed) + 1, spot.item, spot.loud))
            text = str(len(listed))
            labels.append(Label(text, spot.at, spot.away, weight=1.0, loud=spot.loud, number=True))
    return labels, listed


def _off_words(item: Item, unit: Unit) -> str:
    """Return what an item is off by, with its U."""
    if item.unit == "deg":
        return f"{round(item.deviation, 1) + 0.0:+.1f}° ±{item.expanded:.1f}°"
    return f"{unit.signed(item.deviation)} ±{unit.number(item.expanded)}"


def figure_words(item: Item, unit: Unit) -> str:
    """Return what was measured with its U, and for a length what it is off by."""
    if item.unit == "deg":
        return f"{round(item.measured, 1) + 0.0:+.1f}° ±{item.expanded:.1f}°"
    return f"{unit.number(item.measured)} ±{unit.number(item.expanded)}  ({unit.signed(item.deviation)})"


def label_side(name: str, p: Array, q: Array) -> tuple[Array, float]:
    """Return on which side of a length its label lies, and at what share of its way from p to q."""
    along = (q - p) / max(float(np.hypot(*(q - p))), 1.0)
    away = np.array([-along[1], along[0]])
    n = parsed(name)
    if abs(along[1]) > 0.5:  # a standing strip: outwards
        outwards = 1.0 if n.side == "right" else -1.0
        return (away if away[0] * outwards > 0 else -away), 0.5
    up = -1.0 if n.on_plane else 1.0  # pixels count downwards
    shares = {Kind.PLANE: 0.97, Kind.PAGE: 0.9}  # where no shorter length lies over it
    return (away if away[1] * up > 0 else -away), next((v for k, v in shares.items() if k == n.kind), 0.5)


def _fault_ends(name: str, end: End, profile: Profile, mechanism: Mechanism) -> tuple[str, str]:
    """Return between which joints a faulty length is marked: of a plane half only its overhang."""
    if parsed(name).kind == Kind.PLANE:
        panel = next(p for p in mechanism.panels if p.name == end.panel)
        bearing = [j for j in bearing_joints(mechanism, panel) if j in profile.joints]
        return (bearing[-1] if bearing else end.first), end.second
    return end.first, end.second


def _between_joints(panel: PanelFit, profile: Profile, on_it: list[str]) -> Array:
    """Return what to draw of a panel, (N, 2) mm: from joint to joint, bent if bowed; pages as fitted."""
    line = panel.line_mm
    chord = line[-1] - line[0]
    unit = chord / np.hypot(*chord)
    here = [j for j in dict.fromkeys(on_it) if j in profile.joints]
    off = np.array([profile.at(j) - line[0] for j in here]).reshape(-1, 2)
    stops = off[np.abs(off @ np.array([-unit[1], unit[0]])) < RIDGE_GAP] + line[0]
    if parsed(panel.name).is_page or len(stops) < 2:
        return line
    stops = stops[np.argsort((stops - line[0]) @ unit)]
    if abs(panel.sagitta_mm) < SEEN_BOW:
        out: Array = stops
        return out
    t, ends = (line - line[0]) @ unit, (stops[[0, -1]] - line[0]) @ unit
    room = 0.1 * (ends[1] - ends[0])
    inside = line[(t > ends[0] + room) & (t < ends[1] - room)]
    return np.vstack([stops[0], inside, stops[-1]])
