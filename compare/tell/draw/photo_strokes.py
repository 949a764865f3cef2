"""What is drawn over a photo: measured panels, the design laid over them, what is at fault, labels.

All in pixels of the photo cut to the dummy and scaled to one width; the annotated picture and the report draw
the same strokes.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import cv2
import numpy as np

from capture.arrays import Array, Pixels
from capture.camera.view import View
from capture.photo import Photo
from capture.placing import Placing
from compare.design.expected_layout import layout_of
from compare.design.linkage.mechanism import Mechanism
from compare.quantities.joint_quantities import RIDGE_GAP, End, bearing_joints, ends_of, seen_ends
from compare.quantities.measured import feet_lengths
from compare.tell.draw import photo_canvas as cv
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.vocabulary import Kind, named, parsed
from measure.layout import Role
from measure.profile import PanelFit, Profile
from measure.sides import SIDES

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection
    from compare.verdict.findings import Findings


WIDTH: Final = 1600  # px of the finished picture
SEEN_BOW: Final = 0.3  # mm; a straighter panel is drawn straight


def _rigid(source: Array, target: Array) -> tuple[Array, Array]:
    """Rotation (2, 2) and shift (2,) that best lay source points on target points (least squares).

    The closed form of the two-dimensional orthogonal Procrustes problem.
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    rot = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return rot, target.mean(axis=0) - rot @ source.mean(axis=0)


def design_joints(inspection: "Inspection") -> dict[str, Array]:
    """Joints of the design (2,) in sheet coordinates: page line on page line, feet on feet."""
    profile, mechanism = inspection.profile, inspection.spec.mechanism
    layout = layout_of(inspection.spec)
    joints = dict(zip(layout.joint_names, layout.xy_mm, strict=True))
    inner = [j for j in seen_ends(mechanism).get("feet", ()) if j in profile.joints]
    on_pages = [j for p in layout.panels if p.role is Role.PAGE for j in p.joints[:-1]]
    page = [j for j in dict.fromkeys(on_pages) if j in profile.joints]
    if len(page) < 2:
        page = [j for j in joints if j in profile.joints]
    rot, shift = _rigid(np.array([joints[j] for j in page]), np.array([profile.at(j) for j in page]))
    if len(inner) == 2:  # keep the page line, slide the feet onto the feet
        at = np.array([rot @ joints[j] + shift for j in inner]).mean(axis=0)
        along = rot @ np.array([1.0, 0.0])
        shift = shift + along * float(along @ (np.array([profile.at(j) for j in inner]).mean(axis=0) - at))
    return {j: rot @ xy + shift for j, xy in joints.items()}


class Photographed(Protocol):
    """What a picture needs: the photo, its view, and where the measured plane lies."""

    @property
    def photo(self) -> Photo:
        """The photo."""

    @property
    def view(self) -> View:
        """Its solved view."""

    @property
    def placing(self) -> Placing:
        """How high above the sheet the measured plane lies."""


class Frame:
    """From millimetres of the measured plane to pixels of the finished picture."""

    def __init__(self, inspection: Photographed, xy_mm: Array) -> None:
        self._view, self._z = inspection.view, inspection.placing.standoff_mm
        px = self.photo_px(xy_mm)
        low, high = px.min(axis=0), px.max(axis=0)
        span = float(max(high[0] - low[0], 1.0))
        size = np.array(inspection.photo.size, dtype=float)
        low = np.maximum(low - (0.16 * span, 0.22 * span), 0)
        high = np.minimum(high + (0.16 * span, 0.16 * span), size - 1)
        self.low = np.floor(low).astype(int)
        self.high = np.ceil(high).astype(int)
        self.scale = WIDTH / float(self.high[0] - self.low[0])

    def photo_px(self, xy_mm: Array) -> Array:
        """Pixels (N, 2) of the photo."""
        return self._view.project(np.column_stack([xy_mm, np.full(len(xy_mm), self._z)]))

    def px(self, xy_mm: Array) -> Array:
        """Pixels (N, 2) of the picture cut to the dummy; pixel centres at integers on both sides."""
        out: Array = (self.photo_px(np.atleast_2d(xy_mm)) - self.low + 0.5) * self.scale - 0.5
        return out

    def cut(self, bgr: Pixels) -> Pixels:
        """Return the photo cut and scaled, RGB."""
        part = bgr[self.low[1] : self.high[1], self.low[0] : self.high[0]]
        height = round(part.shape[0] * self.scale)
        how = cv2.INTER_AREA if self.scale < 1 else cv2.INTER_CUBIC
        small = cv2.resize(part, (WIDTH, height), interpolation=how)
        return np.ascontiguousarray(small[:, :, ::-1], dtype=np.uint8)


def _label_text(item: Item, unit: Unit) -> str:
    """Return name, size with uncertainty and deviation in two short lines."""
    return (
        f"{item.name}\n{unit.number(item.measured)} ±{unit.number(item.expanded)}"
        f"  ({unit.signed(item.deviation)})"
    )


def guilty_lengths(findings: "Findings") -> set[str]:
    """Names of the lengths that the answer blames or that fail by themselves."""
    out = {k for c in findings.causes for k in c.fault.pattern}
    if out & set(feet_lengths(findings.spec.mechanism) or ()):
        out.add(Kind.FEET)
    return out | {i.name for i in findings.lengths if i.verdict is Verdict.FAILS}


def _worth_a_label(name: str, guilty: set[str], inspection: "Inspection") -> bool:
    """Return False for what would only crowd the picture: sound pages, feet told together already."""
    if parsed(name).kind == Kind.PAGE:
        return name in guilty
    feet = feet_lengths(inspection.spec.mechanism) or ()
    return not (name in feet and Kind.FEET in inspection.findings.measured.lengths)


def _label_side(name: str, p: Array, q: Array) -> tuple[Array, float]:
    """Return on which side of a length its label lies, and at what share of its way from p to q."""
    along = (q - p) / max(float(np.hypot(*(q - p))), 1.0)
    away = np.array([-along[1], along[0]])
    n = parsed(name)
    if abs(along[1]) > 0.5:  # a standing strip: outwards
        outwards = 1.0 if n.side == "right" else -1.0
        return (away if away[0] * outwards > 0 else -away), 0.5
    up = -1.0 if n.on_plane else 1.0  # pixels count downwards
    share = (
        0.97 if n.kind == Kind.PLANE else 0.9 if n.kind == Kind.PAGE else 0.5
    )  # where no shorter length lies over it
    return (away if away[1] * up > 0 else -away), share


def _labels(inspection: "Inspection", frame: Frame) -> list[cv.Label]:
    unit = unit_of(inspection.spec.units)
    guilty = guilty_lengths(inspection.findings)
    ends = ends_of(inspection.spec.mechanism)
    out: list[cv.Label] = []
    for item in inspection.findings.lengths:
        a, b = ends[item.name].first, ends[item.name].second
        if not _worth_a_label(item.name, guilty, inspection):
            continue
        p, q = frame.px(np.array([inspection.profile.at(a), inspection.profile.at(b)]))
        away, share = _label_side(item.name, p, q)
        loud = item.name in guilty
        out.append(
            cv.Label(
                text=_label_text(item, unit),
                at=p + (q - p) * share,
                away=away,
                weight=2.0 if loud else 1.0 if item.verdict is Verdict.CONFORMS else 1.2,
                loud=loud,
            )
        )
    panels = {p.name: p for p in inspection.spec.mechanism.panels}
    for n in inspection.findings.leans:
        joints = panels[inspection.spec.mechanism.half(n.side).plane].joints
        seen = [inspection.profile.at(j) for j in joints if j in inspection.profile.joints]
        at = frame.px(seen[0] + 0.2 * (seen[1] - seen[0]))[0]
        fails = n.item.verdict is Verdict.FAILS
        out.append(
            cv.Label(
                text=f"{n.item.name}\n{round(n.item.measured, 1) + 0.0:+.1f}° ±{n.item.expanded:.1f}°",
                at=at,
                away=np.array([0.0, -1.0]),
                weight=1.5 if fails else 0.5,
                loud=fails,
            )
        )
    return sorted(out, key=lambda label: -label.weight)


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """What is drawn over the photo, in pixels of the finished picture: names and points (N, 2)."""

    design: list[tuple[str, Array]]
    measured: list[tuple[str, Array]]
    faults: list[tuple[str, Array]]
    joints: Array
    by_hand: Array
    labels: list[cv.Label]


def strokes_of(inspection: "Inspection", frame: Frame) -> Strokes:
    """Lines, joints and labels of the picture."""
    design = design_joints(inspection)
    findings, profile, mechanism = inspection.findings, inspection.profile, inspection.spec.mechanism
    meant = [
        (name, frame.px(np.array([design[j] for j in joints])))
        for name, joints in drawn_joints(inspection).items()
    ]
    ends = ends_of(mechanism)
    on = {
        p.name: [j for e in ends.values() if e.panel == p.name for j in (e.first, e.second)]
        for p in mechanism.panels
    }
    found = [
        (panel.name, frame.px(_between_joints(panel, profile, on.get(panel.name, []))))
        for panel in profile.panels
        if panel.found and len(panel.line_mm) > 1
    ]
    guilty = guilty_lengths(findings)
    faults: list[tuple[str, Array]] = []
    for item in findings.lengths:
        if item.name in guilty:
            a, b = _fault_ends(item.name, ends[item.name], profile, mechanism)
            faults.append((item.name, frame.px(np.array([profile.at(a), profile.at(b)]))))
    seen = dict.fromkeys(j for i in findings.lengths for j in (ends[i.name].first, ends[i.name].second))
    dots, squares = (
        frame.px(np.array([profile.at(j) for j in seen if (j in profile.by_hand) is hand]).reshape(-1, 2))
        for hand in (False, True)
    )
    return Strokes(meant, found, faults, dots, squares, _labels(inspection, frame))


def drawn_joints(inspection: "Inspection") -> dict[str, tuple[str, ...]]:
    """Joints through which each panel of the design is drawn: first, those in its own line, last."""
    out: dict[str, tuple[str, ...]] = {}
    for panel in inspection.spec.mechanism.panels:
        run = (panel.joints[0], *bearing_joints(inspection.spec.mechanism, panel), panel.joints[-1])
        out[panel.name] = tuple(dict.fromkeys(run))
    return out


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


def frame_of(inspection: "Inspection") -> Frame:
    """Return the frame that shows the measured and the designed dummy."""
    profile = inspection.profile
    wide = any(named(Kind.PAGE, s) in guilty_lengths(inspection.findings) for s in SIDES)
    shown = [j for j in profile.joints if wide or parsed(j).kind != Kind.FORE_EDGE]
    seen = np.array([profile.at(j) for j in shown])
    design = design_joints(inspection).items()
    meant = np.array([xy for j, xy in design if parsed(j).kind != Kind.FORE_EDGE])
    return Frame(inspection, np.vstack([seen[np.all(np.isfinite(seen), axis=1)], meant]))
