"""The photo with the measurement drawn in: what was found, what was meant, what is wrong.

Measured panels and joints in orange (solid), the design in sky blue (dashed) laid over it with its page line
on the measured one and its feet on the measured feet, faults in vermillion plates. The picture is cut to the
dummy and scaled so that it can be read on a phone.
"""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from compare.conformity import Item, Verdict
from compare.design.linkage import solve
from compare.joints import ENDS, RIDGE_GAP
from compare.report import canvas as cv
from compare.report.answer import answer
from compare.report.files import write_whole
from compare.units import Unit, unit_of
from measure.profile import PanelFit, Profile

if TYPE_CHECKING:
    from compare.inspection import Inspection

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

WIDTH: Final = 1600  # px of the finished picture
TEXT: Final = 27  # px, label text: 1.7 % of the width
HEAD_TEXT: Final = 44
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
    spec, profile = inspection.spec, inspection.profile
    joints = solve(spec.lengths(), np.radians(spec.base.opening_deg)).joints
    inner = [j for j in ("inner foot left", "inner foot right") if j in profile.joints]
    page = [j for j in (*inner, "outer foot left", "outer foot right", "spine") if j in profile.joints]
    if len(page) < 2:
        page = [j for j in joints if j in profile.joints]
    rot, shift = _rigid(np.array([joints[j] for j in page]), np.array([profile.at(j) for j in page]))
    if len(inner) == 2:  # keep the page line, slide the feet onto the feet
        at = np.array([rot @ joints[j] + shift for j in inner]).mean(axis=0)
        along = rot @ np.array([1.0, 0.0])
        shift = shift + along * float(along @ (np.array([profile.at(j) for j in inner]).mean(axis=0) - at))
    return {j: rot @ xy + shift for j, xy in joints.items()}


class _Frame:
    """From millimetres of the measured plane to pixels of the finished picture."""

    def __init__(self, inspection: "Inspection", xy_mm: Array) -> None:
        self._view, self._z = inspection.view, inspection.standoff_mm
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

    def cut(self, bgr: NDArray[np.uint8]) -> Picture:
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


def _guilty(inspection: "Inspection") -> set[str]:
    """Names of the lengths that the answer blames or that fail by themselves."""
    out = {k for c in inspection.findings.causes for k in c.fault.pattern}
    if out & {"foot left", "foot right"}:
        out.add("feet")
    return out | {i.name for i in inspection.findings.lengths if i.verdict is Verdict.FAILS}


def _worth_a_label(name: str, guilty: set[str], inspection: "Inspection") -> bool:
    """Return False for what would only crowd the picture: sound pages, feet told together already."""
    if name.startswith("page ") and not name.startswith("page spacing"):
        return name in guilty
    return not (name.startswith("foot ") and "feet" in inspection.findings.measured.lengths)


def _label_side(name: str, p: Array, q: Array) -> tuple[Array, float]:
    """Return on which side of a length its label lies, and at what share of its way from p to q."""
    along = (q - p) / max(float(np.hypot(*(q - p))), 1.0)
    away = np.array([-along[1], along[0]])
    kind, _, side = name.rpartition(" ")
    if kind in ("fold", "leg"):
        outwards = 1.0 if side == "right" else -1.0
        return (away if away[0] * outwards > 0 else -away), 0.5
    up = -1.0 if kind.startswith("plane") else 1.0  # pixels count downwards
    share = {"plane": 0.97, "page": 0.9}.get(kind, 0.5)  # where no shorter length lies over it
    return (away if away[1] * up > 0 else -away), share


def _labels(inspection: "Inspection", frame: _Frame) -> list[cv.Label]:
    unit = unit_of(inspection.spec.units)
    guilty = _guilty(inspection)
    out: list[cv.Label] = []
    for item in inspection.findings.lengths:
        _, a, b = ENDS[item.name]
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
                weight=2.0 if loud else 1.0,
                loud=loud,
            )
        )
    for n in inspection.findings.leans:
        ridge, top = inspection.profile.at("ridge"), inspection.profile.at(f"leg top {n.side}")
        at = frame.px(ridge + 0.2 * (top - ridge))[0]
        fails = n.item.verdict is Verdict.FAILS
        out.append(
            cv.Label(
                text=f"lean {n.side}\n{round(n.item.measured, 1) + 0.0:+.1f}° ±{n.item.expanded:.1f}°",
                at=at,
                away=np.array([0.0, -1.0]),
                weight=1.5 if fails else 0.5,
                loud=fails,
            )
        )
    return out


def _draw_lines(inspection: "Inspection", frame: _Frame, picture: Picture) -> list[tuple[Array, Array]]:
    """Draw the design below and the measurement above; return the measured panels as straight pieces (px)."""
    design = design_joints(inspection)
    findings, profile = inspection.findings, inspection.profile
    for _, a, b in _runs(design):
        cv.polyline(picture, frame.px(np.array([design[a], design[b]])), cv.SKY, 3, dash=15)
    guilty = _guilty(inspection)
    pieces: list[tuple[Array, Array]] = []
    for panel in profile.panels:
        if panel.found and len(panel.line_mm) > 1:
            line = frame.px(_between_joints(panel, profile))
            cv.polyline(picture, line, cv.ORANGE, 4)
            pieces.append((line[0], line[-1]))
    for item in findings.lengths:
        if item.name in guilty:
            _, a, b = ENDS[item.name]
            kind, _, side = item.name.rpartition(" ")
            if kind == "plane" and f"leg top {side}" in profile.joints:
                a = f"leg top {side}"  # the part that sticks out
            ends = frame.px(np.array([profile.at(a), profile.at(b)]))
            cv.polyline(picture, ends, cv.VERMILLION, 7)
    for name in dict.fromkeys(j for item in findings.lengths for j in ENDS[item.name][1:]):
        at = frame.px(profile.at(name))[0]
        if name in profile.by_hand:
            cv.square(picture, at, 10, cv.WHITE)
        else:
            cv.disc(picture, at, 7, cv.ORANGE)
    return pieces


def _between_joints(panel: PanelFit, profile: Profile) -> Array:
    """Return what to draw of a panel, (N, 2) mm: from joint to joint, bent if bowed; pages as fitted."""
    line = panel.line_mm
    on_it = [j for p, a, b in ENDS.values() if p == panel.name for j in (a, b) if j in profile.joints]
    chord = line[-1] - line[0]
    unit = chord / np.hypot(*chord)
    off = np.array([profile.at(j) - line[0] for j in dict.fromkeys(on_it)]).reshape(-1, 2)
    stops = off[np.abs(off @ np.array([-unit[1], unit[0]])) < RIDGE_GAP] + line[0]
    if panel.name.startswith("page") or len(stops) < 2:
        return line
    stops = stops[np.argsort((stops - line[0]) @ unit)]
    if abs(panel.sagitta_mm) < SEEN_BOW:
        out: Array = stops
        return out
    t, ends = (line - line[0]) @ unit, (stops[[0, -1]] - line[0]) @ unit
    room = 0.1 * (ends[1] - ends[0])
    inside = line[(t > ends[0] + room) & (t < ends[1] - room)]
    return np.vstack([stops[0], inside, stops[-1]])


def _runs(joints: dict[str, Array]) -> list[tuple[str, str, str]]:
    """Return the panels of the design as straight pieces between two joints."""
    out = [("page", "fore edge left", "fore edge right")] if "spine" not in joints else []
    for s in ("left", "right"):
        out.append(("page", "spine", f"fore edge {s}"))
        out.append(("fold", f"inner foot {s}", "ridge"))
        if f"leg top {s}" in joints:
            out.append(("leg", f"outer foot {s}", f"leg top {s}"))
            out.append(("plane", "ridge", f"plane edge {s}"))
    return out


def _band(text: str, size: int, ground: cv.Colour, *, lines: int = 2) -> Picture:
    """Return a band of the picture's width with text."""
    wrapped = "\n".join(textwrap.wrap(text, round(WIDTH / size * 1.9))[: lines + 1])
    _, h = cv.text_size(wrapped, size)
    band = np.full((round(h + size * 1.1), WIDTH, 3), ground, dtype=np.uint8)
    box = cv.Box(0, 0, WIDTH - 1, len(band) - 1)
    return cv.plate(band, box, wrapped, size, ink=cv.WHITE, ground=ground)


def _legend(inspection: "Inspection") -> Picture:
    """Return the band that explains the marks."""
    band = np.full((64, WIDTH, 3), cv.DARK, dtype=np.uint8)
    x = 30.0
    for words, colour, dash, width in (
        ("measured", cv.ORANGE, 0.0, 5),
        ("design", cv.SKY, 15.0, 4),
        ("at fault", cv.VERMILLION, 0.0, 9),
    ):
        cv.polyline(band, np.array([[x, 32.0], [x + 90, 32.0]]), colour, width, dash=dash)
        w, _ = cv.text_size(words, TEXT)
        box = cv.Box(x + 105, 10, x + 105 + w, 54)
        band = cv.plate(band, box, words, TEXT, ink=cv.WHITE, ground=cv.DARK)
        x += 105 + w + 50
    if inspection.profile.by_hand:
        cv.square(band, np.array([x + 12, 32.0]), 10, cv.WHITE)
        w, _ = cv.text_size("by hand", TEXT)
        band = cv.plate(
            band, cv.Box(x + 36, 10, x + 36 + w, 54), "by hand", TEXT, ink=cv.WHITE, ground=cv.DARK
        )
        x += 36 + w + 50
    unit = unit_of(inspection.spec.units).name
    words = f"{unit}, ±U (k=2), (deviation)   {inspection.photo.name}"
    w, _ = cv.text_size(words, TEXT - 4)
    box = cv.Box(max(WIDTH - 30 - w, x), 10, WIDTH - 30, 54)
    return cv.plate(band, box, words, TEXT - 4, ink=cv.WHITE, ground=cv.DARK)


GROUND: Final = {Verdict.CONFORMS: (0, 110, 80), Verdict.FAILS: (165, 60, 0), Verdict.OPEN: (90, 90, 96)}


def annotated(inspection: "Inspection") -> Picture:
    """Return the annotated photo, (H, 1600, 3) uint8 RGB."""
    profile = inspection.profile
    design = design_joints(inspection)
    wide = any(k in _guilty(inspection) for k in ("page left", "page right"))
    shown = [j for j in profile.joints if wide or not j.startswith("fore edge")]
    seen = np.array([profile.at(j) for j in shown])
    meant = np.array([xy for j, xy in design.items() if not j.startswith("fore edge")])
    frame = _Frame(inspection, np.vstack([seen[np.all(np.isfinite(seen), axis=1)], meant]))
    picture = frame.cut(inspection.photo.bgr)
    pieces = _draw_lines(inspection, frame, picture)
    height = picture.shape[0]
    placed = cv.place_labels(_labels(inspection, frame), TEXT, cv.Box(6, 6, WIDTH - 6, height - 6), pieces)
    for p in placed:
        end = cv.nearest(p.box, p.label.at)
        cv.polyline(picture, np.array([p.label.at, end]), cv.VERMILLION if p.label.loud else cv.WHITE, 2)
    for p in placed:
        ground = cv.VERMILLION if p.label.loud else cv.DARK
        rim = cv.WHITE if p.label.loud else cv.GREY
        picture = cv.plate(picture, p.box, p.label.text, TEXT, ink=cv.WHITE, ground=ground, rim=rim)
    head = _band(answer(inspection.findings), HEAD_TEXT, GROUND[inspection.findings.verdict])
    return np.vstack([head, picture, _legend(inspection)])


def write_annotated(inspection: "Inspection", path: Path) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    image = Image.fromarray(annotated(inspection))
    write_whole(path, lambda temporary: image.save(temporary, format="PNG", optimize=False))
