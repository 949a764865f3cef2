"""A panel's surroundings, straightened, and the lines in them along which its near end may lie."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from capture.arrays import Array
from measure.edges.candidate_lines import Candidate, best_lines, line_scores
from measure.edges.edge_evidence import Evidence, capped
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.guided.choose_lines import Choice, PanelLines
from measure.guided.panel_doubt import is_flat, up_side
from measure.guided.placement import Placement
from measure.layout import Layout, Panel, Role
from measure.measuring_plane import MeasuringPlane
from measure.region import Region
from measure.scene import Scene

REACH_MM = 7.0
STEP_MM = 0.1
N_CANDIDATES = 16
APART_MM = 0.5  # candidates nearer to a better one are left out: fitting finds the way from there
CLEAR_STEP = 8.0  # evidence of a step that is certainly there
PAGE_CAP = 12.0
MAX_FACE_MM = 10.0
MIN_FACE_MM = 0.8
FAR_CAP = 40.0
FAR_SLACK_MM = 0.5
FAR_WEIGHT = 0.6
MIN_MARK_MM = 0.8
MARK_WEIGHT = 0.5
TABLE_SD_MM = 1.5
TABLE_WEIGHT = 40.0
TABLE_CAP = 6.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Look:
    """One panel's surroundings, straightened along its expected place."""

    panel: Panel
    curve: Curve
    stations: Array
    evidence: Evidence
    far_edge: Array
    visible: NDArray[np.bool_]
    up: float
    hinge_mm: float
    table_mm: float | None
    far_mm: tuple[float, float]


def look_at(scene: Scene, panel: Panel, placement: Placement) -> Look:
    """Straighten the surroundings of a panel's expected place and score every offset in them."""
    plane, layout = scene.plane, scene.layout
    ends = placement.apply(np.stack([layout.at(panel.joints[0]), layout.at(panel.joints[-1])]))
    curve = Curve(a=ends[0], b=ends[1])
    page = panel.role is Role.PAGE
    s = stations_for(curve, 1.5, 1.5, 2.0 if page else 1.0)
    shift = _near_shift(plane, curve, s, layout.depth_mm)
    room = REACH_MM + 0.2 + min(float(np.max(np.abs(shift))) + 0.5, MAX_FACE_MM)
    template = scene.template(curve, panel)
    evidence = scene.edges.scan(curve, s, reach_mm=room, step_mm=STEP_MM, template=template)
    printed = _printed(curve, s, evidence, scene.region)
    up = up_side(layout, panel, placement, curve)
    return Look(
        panel=panel,
        curve=curve,
        stations=s,
        evidence=evidence,
        far_edge=_far_edge(plane, evidence, shift, layout.depth_mm, printed),
        visible=scene.region.holds(curve.points(s)),
        up=up,
        hinge_mm=up * (layout.base_mm + layout.card_mm) / 2 if page else 0.0,
        table_mm=_page_height(layout, scene.region) if page else None,
        far_mm=(float(shift[0]), float(shift[-1])),
    )


def _near_shift(plane: MeasuringPlane, curve: Curve, stations: Array, depth_mm: float) -> Array:
    """How far (S,) across the curve the near end lies from what is taken for its far end."""
    lever = (curve.points(stations) - plane.eye_mm[:2]) @ curve.normal
    out: Array = lever * depth_mm / (plane.eye_mm[2] - plane.z_mm)
    return out


def _printed(curve: Curve, stations: Array, evidence: Evidence, region: Region) -> NDArray[np.bool_]:
    """Places (S, K) behind which the sheet's print is seen."""
    xy = curve.points(stations)[:, None, :] + evidence.offsets_mm[None, :, None] * curve.normal
    out = np.zeros(xy.shape[:2], dtype=bool)
    for left, right, low, top in region.printed:
        x, y = xy[..., 0], xy[..., 1]
        out |= (x > left) & (x < right) & (y > low - FAR_SLACK_MM) & (y < top + FAR_SLACK_MM)
    return out


def _far_edge(
    plane: MeasuringPlane, evidence: Evidence, shift: Array, depth_mm: float, printed: NDArray[np.bool_]
) -> Array:
    """Penalty (S, K) where an edge is more likely the FAR end of a panel than its near end.

    If a line were a far end, the near end of the same panel would lie a known distance farther from the
    eye; where an edge is seen there too, the line is suspect.
    """
    x = evidence.offsets_mm
    per_mm = depth_mm / (plane.eye_mm[2] - plane.z_mm)
    # The step on the background side lies half a card from the middle line; depth is not quite known.
    window = 2 * int(round(FAR_SLACK_MM / STEP_MM)) + 1
    card = np.where(printed, 0.0, evidence.outer)
    outer = maximum_filter1d(np.minimum(card, FAR_CAP), window, axis=1)
    near = np.stack(
        [
            np.interp(x * (1 + per_mm) + d, x, row, left=0, right=0)
            for row, d in zip(outer, shift, strict=True)
        ]
    )
    # Too near the stripe itself to be told from it.
    out: Array = np.where(np.abs(shift)[:, None] > MIN_FACE_MM, FAR_WEIGHT * near, 0.0)
    return out


def _page_height(layout: Layout, region: Region) -> float | None:
    """Height of the middle of a flat page that lies on the same table as the sheet; else None."""
    if region.table_mm is None or not is_flat(layout):
        return None
    return region.table_mm + layout.base_mm / 2


def candidates_of(scene: Scene, look: Look) -> PanelLines:
    """Return the best lines of a panel, given the scene's tone of cut edges if it is known."""
    page = look.panel.role is Role.PAGE
    evidence = look.evidence
    if page:
        # A long modest edge must beat a short strong shadow.
        score = capped(evidence.outer, evidence.inner, PAGE_CAP)
    else:
        score = np.maximum(evidence.score - scene.edges.off_tone(evidence, scene.tone) - look.far_edge, 0.0)
    score = score * look.visible[:, None]
    sums = line_scores(score, evidence.offsets_mm, look.stations, REACH_MM, 2.0 if page else REACH_MM)
    if page and look.table_mm is not None:
        sums = sums - _off_table(look, sums.shape[0])
    found = best_lines(sums, REACH_MM, N_CANDIDATES, APART_MM)
    return PanelLines(
        panel=look.panel,
        base=look.curve,
        candidates=found if page else _without_inner_marks(look, found),
        hinge_mm=look.hinge_mm,
        up=look.up,
    )


def _without_inner_marks(look: Look, found: list[Candidate]) -> list[Candidate]:
    """Lower the score of lines that would lie on the face of a panel whose near end is another line found.

    A panel's image reaches from its near end toward the eye, never away from it. So of two lines that could
    be a near end and a mark, shadow or edge on that panel's face, the outer one is the likelier near end.
    """
    first, last = look.far_mm
    out: list[Candidate] = []
    for c in found:
        cost = 0.0
        for e in found:
            # How far out the other line lies, as shares of what separates far end and near end.
            d0, d1 = e.d0_mm - c.d0_mm, e.d1_mm - c.d1_mm
            if min(abs(first), abs(last)) < MIN_FACE_MM or min(abs(d0), abs(d1)) < MIN_MARK_MM:
                continue
            f0, f1 = d0 / first, d1 / last
            if min(f0, f1) > 0 and max(f0, f1) < 1.1 and abs(f0 - f1) * max(abs(first), abs(last)) < 0.5:
                cost = max(cost, MARK_WEIGHT * _outer_sum(look, e))
        out.append(replace(c, score=c.score - cost))
    return sorted((c for c in out if c.score > 0), key=lambda c: -c.score)


def _outer_sum(look: Look, line: Candidate) -> float:
    """Evidence, summed along a line, that the background begins there."""
    offset = line.d0_mm * (1 - look.stations) + line.d1_mm * look.stations
    k = np.rint((offset - look.evidence.offsets_mm[0]) / STEP_MM).astype(int)
    outer = np.minimum(look.evidence.outer[np.arange(len(k)), k], FAR_CAP)
    return float(np.sum(outer * look.visible))


def _off_table(look: Look, size: int) -> Array:
    """Penalty (N, N) for lines of a flat page that do not lie on the table the sheet stands on.

    Gentle and limited: the dummy may stand on a book.
    """
    assert look.table_mm is not None
    grid = np.linspace(-REACH_MM, REACH_MM, size)
    up = look.curve.normal[1]
    ends = [(end[1] + grid * up - look.table_mm) / TABLE_SD_MM for end in (look.curve.a, look.curve.b)]
    off = 0.5 * (ends[0][:, None] ** 2 + ends[1][None, :] ** 2)
    out: Array = TABLE_WEIGHT * np.minimum(off, TABLE_CAP)
    return out


def rough_tone(looks: list[Look], items: list[PanelLines], choice: Choice) -> float | None:
    """Grey value of cut edges along the chosen lines, where both of a stripe's steps are seen."""
    tones: list[Array] = []
    by_name = {look.panel.name: look for look in looks}
    for item in items:
        look = by_name[item.panel.name]
        if look.panel.role is Role.PAGE:
            continue
        c = item.candidates[choice.index[look.panel.name]]
        offset = c.d0_mm * (1 - look.stations) + c.d1_mm * look.stations
        k = np.rint((offset - look.evidence.offsets_mm[0]) / STEP_MM).astype(int)
        rows = np.arange(len(k))
        clear = np.minimum(look.evidence.outer[rows, k], look.evidence.inner[rows, k]) > CLEAR_STEP
        tones.append(look.evidence.middle[rows[clear], k[clear]])
    return median_tone(tones)


def median_tone(tones: list[Array]) -> float | None:
    """Median over panels of each panel's median, so that one misplaced panel does not set the tone."""
    medians = [float(np.median(t)) for t in tones if len(t) >= 5]
    return float(np.median(medians)) if len(medians) >= 2 else None
