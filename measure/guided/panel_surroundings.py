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
from measure.guided.panel_doubt import up_side
from measure.guided.placement import Placement
from measure.layout import Layout, Panel, Role
from measure.measuring_plane import MeasuringPlane
from measure.region import Region
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class SurroundingsNumbers:
    """Tuned numbers of the search round a panel, found on path-traced photographs of known dummies."""

    reach_mm: float = 7.0
    """Ends of a line are looked for so far from where the placement has them, ..."""
    step_mm: float = 0.1
    """... in steps of this, ..."""
    page_slope_mm: float = 2.0
    """... and a page's two ends may differ by so much."""
    trim_mm: float = 1.5
    """So much of a panel's two ends is left out."""
    station_mm: tuple[float, float] = (1.0, 2.0)
    """Stations lie so far apart on strips and on pages."""
    n_candidates: int = 16
    """Lines kept of each panel, ..."""
    apart_mm: float = 0.5
    """... none nearer to a better one: fitting finds the way from there."""
    clear_step: float = 8.0
    """Evidence of a step that is certainly there (log-likelihood units)."""
    page_cap: float = 12.0
    """A station of a page speaks for at most so much: a long modest edge must beat a short strong
    shadow."""
    max_face_mm: float = 10.0
    """Faces are followed so far to their far ends."""
    min_face_mm: float = 0.8
    """A narrower face is too near the stripe itself to be told from it."""
    far_cap: float = 40.0
    """A station speaks for a far end with at most so much, ..."""
    far_slack_mm: float = 0.5
    """... within this, for depth is not quite known, ..."""
    far_weight: float = 0.6
    """... and with this weight."""
    min_mark_mm: float = 0.8
    """Lines farther apart may be a near end and a mark on its panel's face, ..."""
    most_share: float = 1.1
    """... if the other lies within that share of the face, ..."""
    parallel_mm: float = 0.5
    """... nearly parallel, ..."""
    mark_weight: float = 0.5
    """... and then the inner one loses this share of the outer one's evidence."""
    table_sd_mm: float = 1.5
    """A flat page lies within this of the table the sheet stands on; ..."""
    table_weight: float = 40.0
    """... log-likelihood units per half squared standard deviation, ..."""
    table_cap: float = 6.0
    """... gentle and limited: the dummy may stand on a book."""
    least_tones: int = 5
    """A panel's tone is taken from no fewer clear stations, ..."""
    least_panels: int = 2
    """... and the photo's from no fewer panels."""


TUNED = SurroundingsNumbers()


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
    s = stations_for(curve, TUNED.trim_mm, TUNED.trim_mm, TUNED.station_mm[page])
    shift = _near_shift(plane, curve, s, layout.depth_mm)
    room = TUNED.reach_mm + 0.2 + min(float(np.max(np.abs(shift))) + 0.5, TUNED.max_face_mm)
    template = scene.template(curve, panel)
    evidence = scene.edges.scan(curve, s, reach_mm=room, step_mm=TUNED.step_mm, template=template)
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
        out |= (x > left) & (x < right) & (y > low - TUNED.far_slack_mm) & (y < top + TUNED.far_slack_mm)
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
    window = 2 * int(round(TUNED.far_slack_mm / TUNED.step_mm)) + 1
    card = np.where(printed, 0.0, evidence.outer)
    outer = maximum_filter1d(np.minimum(card, TUNED.far_cap), window, axis=1)
    near = np.stack(
        [
            np.interp(x * (1 + per_mm) + d, x, row, left=0, right=0)
            for row, d in zip(outer, shift, strict=True)
        ]
    )
    # Too near the stripe itself to be told from it.
    out: Array = np.where(np.abs(shift)[:, None] > TUNED.min_face_mm, TUNED.far_weight * near, 0.0)
    return out


def _page_height(layout: Layout, region: Region) -> float | None:
    """Height of the middle of a flat page that lies on the same table as the sheet; else None."""
    if region.table_mm is None or not layout.lies_flat:
        return None
    return region.table_mm + layout.base_mm / 2


def candidates_of(scene: Scene, look: Look) -> PanelLines:
    """Return the best lines of a panel, given the scene's tone of cut edges if it is known."""
    page = look.panel.role is Role.PAGE
    evidence = look.evidence
    if page:
        score = capped(evidence.outer, evidence.inner, TUNED.page_cap)
    else:
        score = np.maximum(evidence.score - scene.edges.off_tone(evidence, scene.tone) - look.far_edge, 0.0)
    score = score * look.visible[:, None]
    sums = line_scores(
        score,
        evidence.offsets_mm,
        look.stations,
        TUNED.reach_mm,
        TUNED.page_slope_mm if page else TUNED.reach_mm,
    )
    if page and look.table_mm is not None:
        sums = sums - _off_table(look, sums.shape[0])
    found = best_lines(sums, TUNED.reach_mm, TUNED.n_candidates, TUNED.apart_mm)
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
            if min(abs(first), abs(last)) < TUNED.min_face_mm or min(abs(d0), abs(d1)) < TUNED.min_mark_mm:
                continue
            f0, f1 = d0 / first, d1 / last
            if (
                min(f0, f1) > 0
                and max(f0, f1) < TUNED.most_share
                and abs(f0 - f1) * max(abs(first), abs(last)) < TUNED.parallel_mm
            ):
                cost = max(cost, TUNED.mark_weight * _outer_sum(look, e))
        out.append(replace(c, score=c.score - cost))
    return sorted((c for c in out if c.score > 0), key=lambda c: -c.score)


def _outer_sum(look: Look, line: Candidate) -> float:
    """Evidence, summed along a line, that the background begins there."""
    offset = line.d0_mm * (1 - look.stations) + line.d1_mm * look.stations
    k = np.rint((offset - look.evidence.offsets_mm[0]) / TUNED.step_mm).astype(int)
    outer = np.minimum(look.evidence.outer[np.arange(len(k)), k], TUNED.far_cap)
    return float(np.sum(outer * look.visible))


def _off_table(look: Look, size: int) -> Array:
    """Penalty (N, N) for lines of a flat page that do not lie on the table the sheet stands on.

    Gentle and limited: the dummy may stand on a book.
    """
    assert look.table_mm is not None
    grid = np.linspace(-TUNED.reach_mm, TUNED.reach_mm, size)
    up = look.curve.normal[1]
    ends = [(end[1] + grid * up - look.table_mm) / TUNED.table_sd_mm for end in (look.curve.a, look.curve.b)]
    off = 0.5 * (ends[0][:, None] ** 2 + ends[1][None, :] ** 2)
    out: Array = TUNED.table_weight * np.minimum(off, TUNED.table_cap)
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
        k = np.rint((offset - look.evidence.offsets_mm[0]) / TUNED.step_mm).astype(int)
        rows = np.arange(len(k))
        clear = np.minimum(look.evidence.outer[rows, k], look.evidence.inner[rows, k]) > TUNED.clear_step
        tones.append(look.evidence.middle[rows[clear], k[clear]])
    return median_tone(tones)


def median_tone(tones: list[Array]) -> float | None:
    """Median over panels of each panel's median, so that one misplaced panel does not set the tone."""
    medians = [float(np.median(t)) for t in tones if len(t) >= TUNED.least_tones]
    return float(np.median(medians)) if len(medians) >= TUNED.least_panels else None
