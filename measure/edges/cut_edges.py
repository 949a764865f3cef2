"""Near ends as pale cut edges: a stripe as wide as the card between two sharp steps.

The test of one profile is in `measure.edges.stripe_evidence`; here it is asked along curves, of panels seen
from capture.arrays import Array, Single
from either side, of a card with another right under it, and before the sheet's print.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array, Single
from measure.edges.edge_evidence import EndEvidence, Evidence, LayerSteps, Template
from measure.edges.end_evidence import end_evidence
from measure.edges.layer_evidence import layer_steps
from measure.edges.print_behind import without_print
from measure.edges.silhouette import silhouette
from measure.edges.stations import STATION_MM, outer_sign
from measure.edges.step_evidence import step_evidence
from measure.edges.stripe_evidence import near_end_evidence, two_steps_everywhere
from measure.edges.tab_evidence import tab_profiles
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane, strip_along


@dataclass(frozen=True, slots=True, kw_only=True)
class CutEdgeNumbers:
    """Tuned numbers of the tone of cut edges, found on path-traced photographs of known dummies."""

    white_share: float = 0.72
    """A cut edge of white card is that much of the sheet's white: in those photographs 0.5 to 0.9."""
    tone_sd: float = 0.4
    """Natural logarithm: cut edges of one card differ by that much from place to place."""
    tone_weight: float = 6.0
    """Log-likelihood units that one such standard deviation costs a station."""
    tone_cap: float = 6.0
    """Squared standard deviations beyond which a wrong tone costs no more: shadows are seldom, but deep."""
    tone_floor: float = 0.005
    """Full scale = 1: added to both greys compared, so that the dark does not differ from the dark."""


TUNED = CutEdgeNumbers()


@dataclass(frozen=True, slots=True, eq=False)
class CutEdges:
    """Pale cut edges in one photo; see `measure.edges.edge_evidence.EdgeEvidence`."""

    plane: MeasuringPlane

    def template(
        self, *, card_mm: float, blur_mm: float, depth_mm: float = 0.0, tone: float | None = None
    ) -> Template:
        """Return the stripe of a card."""
        return Template(card_mm=card_mm, blur_mm=blur_mm, depth_mm=depth_mm, tone=tone)

    def usual_tone(self, white: float) -> float:
        """Return the grey value of cut edges of white card."""
        return TUNED.white_share * white

    def scan(
        self,
        curve: Curve,
        stations: Array,
        *,
        reach_mm: float,
        step_mm: float,
        template: Template,
        stack_up: float = 0.0,
    ) -> Evidence:
        """Evidence along a curve for offsets within the reach."""
        plane = self.plane
        room = reach_mm + template.half_mm + abs(stack_up) * template.card_mm
        n = int(np.ceil(room / step_mm)) + 1
        offsets = np.linspace(-n * step_mm, n * step_mm, 2 * n + 1)
        smear = STATION_MM if len(stations) < 2 else (stations[1] - stations[0]) * curve.length
        strip = strip_along(plane, curve, stations, offsets, smear, 3)
        scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
        sign = outer_sign(plane, curve)
        face = _face_widths(plane, curve, stations, template.depth_mm) if template.depth_mm else None

        def of_card(evidence: Evidence, used: Template) -> Evidence:
            if plane.behind is None:
                return evidence
            return without_print(evidence, plane, curve, stations, used, sign)

        if not stack_up:
            single = _by_side(plane, curve, stations, strip, offsets, template, scale, face)
            return of_card(single, template)
        twice = replace(template, card_mm=2 * template.card_mm)
        single = of_card(near_end_evidence(strip, offsets, template, sign, scale, face), template)
        double = of_card(near_end_evidence(strip, offsets, twice, sign, scale), twice)
        return _better(single, double, -stack_up * template.card_mm / 2)

    def off_tone(self, evidence: Evidence, tone: float | None, free: float = 0.0) -> Array:
        """Penalty where the stripe is not of the grey that cut edges of this card have in this photo."""
        if tone is None:
            return np.zeros_like(evidence.score)
        seen = np.maximum(evidence.middle, 0) + TUNED.tone_floor
        ratio = np.log(seen / (tone + TUNED.tone_floor))
        ratio = np.maximum(np.abs(ratio) - free, 0.0)
        out: Array = TUNED.tone_weight * np.minimum((ratio / TUNED.tone_sd) ** 2, TUNED.tone_cap)
        return out

    def in_picture(
        self, rows: Array, template: Template, per_mm: float, px_per_mm: float
    ) -> tuple[Array, Array]:
        """Evidence for the step at lower and for that at higher offsets, everywhere in a picture."""
        return two_steps_everywhere(rows, template, per_mm, px_per_mm)

    def ends(
        self, curve: Curve, expected_mm: float, *, reach_mm: float, joint_mm: float, template: Template
    ) -> EndEvidence:
        """Evidence for the card's end: its side edge in stripe and face, and how far it keeps its tone."""
        return end_evidence(self.plane, curve, expected_mm, reach_mm, joint_mm, template)

    def steps(self, strip: Single, step_mm: float, blur_mm: float) -> Array:
        """Evidence for single edges across a strip: crests of the slope."""
        return step_evidence(strip, step_mm, blur_mm)

    def tabs(
        self,
        strip: Single,
        offsets: Array,
        along: Array,
        feet_mm: Sequence[float],
        wanted: Array,
        card_mm: float,
        tone: float | None,
    ) -> list[Array]:
        """Evidence for gluing tabs from what they change on the bare page."""
        return tab_profiles(strip, offsets, along, feet_mm, wanted, card_mm, tone)

    def layers(
        self, curve: Curve, stretch_mm: tuple[float, float], places: Array, template: Template, up: float
    ) -> LayerSteps:
        """Fit the steps between layers together to the mean profile of the stretch."""
        return layer_steps(self.plane, curve, stretch_mm, places, template, up)

    def silhouette(self, profile: Array, across_mm: Array, field: float, card: float) -> float:
        """Place at which the grey value passes half way from card to field."""
        return silhouette(profile, across_mm, field, card)


def _by_side(
    plane: MeasuringPlane,
    curve: Curve,
    stations: Array,
    strip: Single,
    offsets_mm: Array,
    template: Template,
    px_per_mm: float,
    face_mm: Array | None,
) -> Evidence:
    """Evidence of a panel of which one face may be seen here and the other there: a bowed one, edge-on."""
    left = ((curve.points(stations) - plane.eye_mm[:2]) @ curve.normal) >= 0
    parts: list[tuple[NDArray[np.bool_], Evidence]] = []
    for rows, sign in ((left, 1.0), (~left, -1.0)):
        if rows.any():
            face = None if face_mm is None else face_mm[rows]
            parts.append((rows, near_end_evidence(strip[rows], offsets_mm, template, sign, px_per_mm, face)))
    if len(parts) == 1:
        return parts[0][1]
    first = parts[0][1]
    shape = (len(stations), first.score.shape[1])
    fields = {name: np.empty(shape) for name in ("score", "outer", "inner", "middle", "noise")}
    for rows, part in parts:
        for name, whole in fields.items():
            whole[rows] = getattr(part, name)
    return Evidence(offsets_mm=first.offsets_mm, **fields)


def _face_widths(plane: MeasuringPlane, curve: Curve, stations: Array, depth_mm: float) -> Array:
    """How wide (S,) a panel's face is seen: as far as its far end is shifted toward the eye."""
    near = curve.points(stations)
    shift = plane.far_of(near, depth_mm) - near
    out: Array = np.abs(shift @ curve.normal)
    return out


def _better(single: Evidence, double: Evidence, centre_mm: float) -> Evidence:
    """Place by place the stronger of two; the stack's middle lies `centre_mm` from the card's."""
    k = int(round(centre_mm / (single.offsets_mm[1] - single.offsets_mm[0])))
    n = single.score.shape[1]
    cols = np.clip(np.arange(n) + k, 0, n - 1)
    stronger = double.score[:, cols] > single.score

    def pick(a: Array, b: Array) -> Array:
        out: Array = np.where(stronger, b[:, cols], a)
        return out

    return Evidence(
        offsets_mm=single.offsets_mm,
        score=pick(single.score, double.score),
        outer=pick(single.outer, double.outer),
        inner=pick(single.inner, double.inner),
        middle=single.middle,
        noise=pick(single.noise, double.noise),
    )
