"""Near ends across a direction, everywhere at once: as pale cut edges, or as lines of ink."""

from dataclasses import dataclass

import cv2
import numpy as np

from capture.arrays import Array
from measure.edges.dark_line import DarkLine
from measure.edges.edge_evidence import EdgeEvidence, Template, capped
from measure.scene import Scene
from measure.tracing.dark_lines_everywhere import dark_lines_everywhere
from measure.tracing.straight_stripes import TUNED as PICTURE
from measure.tracing.straight_stripes import Rows, Straight


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    picture_blur: float = 0.4
    """What the straightened picture blurs itself, samples, ..."""
    least_blur_mm: float = 0.08
    """... and the least blur reckoned with in it."""
    station_cap: float = 20.0
    """One place speaks for at most so much, ..."""
    two_steps: float = 2.0
    """... and half of it counts where the weaker of the two steps has less than this."""
    far_weight: float = 0.6
    """What speaks for the near end of a panel whose far end a line would be counts against it, ..."""
    far_cap: float = 20.0
    """... up to so much a place, ..."""
    far_slack_mm: float = 0.5
    """... within this, ..."""
    far_least_mm: float = 0.8
    """... where the two lie farther apart than this."""
    ink_weight: float = 6.0
    """Evidence of ink counts so many times that of pale edges, which are compared over more samples; ..."""
    ink_cap: float = 25.0
    """... one place of it speaks for at most so much, ..."""
    edge_weight: float = 0.6
    """... and a face's step into the dark for this share of it."""
    ink_spread_mm: float = 0.05
    """A pen's ink is wider than the card by so much."""


TUNED = RowNumbers()


def coarse_template(scene: Scene, straight: Straight) -> Template:
    """Return the stripe to look for in the straightened picture, whose samples blur a little themselves."""
    of = scene.layout
    return scene.edges.template(card_mm=of.card_mm, blur_mm=_blur_mm(scene, straight), depth_mm=of.depth_mm)


def coarse_line(scene: Scene, straight: Straight) -> DarkLine:
    """Return the line of ink to look for in it."""
    width = scene.layout.card_mm + TUNED.ink_spread_mm
    return DarkLine(width_mm=width, blur_mm=_blur_mm(scene, straight))


def pale_edges(edges: EdgeEvidence, template: Template, straight: Straight) -> Rows:
    """Return how pale cut edges are seen: two steps one card apart, and no panel's far end."""
    depth = template.depth_mm / (edges.plane.eye_mm[2] - edges.plane.z_mm)

    def evidence(rows: Array, offsets: Array, eye: float) -> Array:
        low, high = edges.in_picture(rows, template, PICTURE.per_mm, straight.px_per_mm)
        away = offsets > eye  # beyond the eye the background lies at larger offsets
        outer, inner = np.where(away, high, low), np.where(away, low, high)
        score = capped(outer, inner, TUNED.station_cap)
        score = np.where(np.minimum(outer, inner) > TUNED.two_steps, score, 0.5 * score)
        return score - TUNED.far_weight * _near_of(np.minimum(outer, TUNED.far_cap), offsets, eye, depth)

    return evidence


def inked_lines(line: DarkLine, straight: Straight) -> Rows:
    """Return how inked near ends are seen: dark lines one card wide, or a face that ends in the dark."""

    def evidence(rows: Array, offsets: Array, eye: float) -> Array:
        seen = dark_lines_everywhere(rows, line, PICTURE.per_mm, straight.px_per_mm)
        edge = np.where(offsets > eye, seen.edge_high, seen.edge_low)
        strong = TUNED.ink_weight * np.maximum(seen.dip, TUNED.edge_weight * edge)
        out: Array = np.minimum(strong, TUNED.ink_cap)
        return out

    return evidence


def _blur_mm(scene: Scene, straight: Straight) -> float:
    seen = float(np.hypot(scene.blur_px / straight.px_per_mm, TUNED.picture_blur / PICTURE.per_mm))
    return max(seen, TUNED.least_blur_mm)


def _near_of(outer: Array, offsets: Array, eye: float, depth: float) -> Array:
    """Evidence (R, D) at the place where the near end would lie if an edge here were a panel's FAR end.

    `depth` is a panel's depth as a share of the eye's distance.
    """
    shift = (offsets - eye) * depth
    wide = np.asarray(
        cv2.dilate(outer, np.ones((1, 2 * int(TUNED.far_slack_mm * PICTURE.per_mm) + 1))), dtype=np.float64
    )
    at = np.clip(np.rint((offsets + shift - offsets[0]) * PICTURE.per_mm).astype(int), 0, len(offsets) - 1)
    out: Array = np.where(np.abs(shift)[None, :] > TUNED.far_least_mm, wide[:, at], 0.0)
    return out
