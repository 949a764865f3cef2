"""The seam for edges: what evidence a photo gives for the near end of a card at a place and slant.

Every finder asks an `EdgeEvidence` and none looks at the grey values itself, so a better way of seeing near
ends is one more class that answers these questions. Which one is used is chosen in one place,
`measure.edges.detectors`; two can look at the same photo side by side. All evidence is in log-likelihood
units: how much likelier the grey values are if what is asked for is there than if it is not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from capture.arrays import Array, Single
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """What the near end of one panel looks like across: all in mm.

    Attributes
    ----------
    card_mm : thickness of the card.
    blur_mm : standard deviation of the photo's blur.
    depth_mm : how far the panel reaches back; 0 if that is of no interest.
    tone : grey value that the stripe's middle should have, if known; full scale = 1, linear light.
    half_mm : half width of the window compared.
    floor, floor_share : noise floor, full scale = 1: so much, and that share of the grey value.
    cap : no single profile may count more than this (log-likelihood units).
    """

    card_mm: float
    blur_mm: float
    depth_mm: float = 0.0
    tone: float | None = None
    half_mm: float = 1.5
    floor: float = 0.003
    floor_share: float = 0.02
    cap: float = 40.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """Evidence (S, K) at each station for a near end at each of K offsets across the curve.

    Attributes
    ----------
    offsets_mm : (K,) offsets scored.
    score : (S, K) both steps together, capped.
    outer, inner : (S, K) log-likelihood ratios of the step on the background side and on the face side, each
        given the other.
    middle : (S, K) mean grey value over the middle half of the stripe.
    noise : (S, K) standard deviation of grey values that the ratios reckon with.
    """

    offsets_mm: Array
    score: Array
    outer: Array
    inner: Array
    middle: Array
    noise: Array


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class EndEvidence:
    """Evidence (K,) for a card's end at each of K places along its curve.

    Attributes
    ----------
    at_mm : (K,) places, mm from the curve's start, `step_mm` apart.
    own : a sharp step there in the stripe alone.
    step : a sharp step there in all that shows the card's side.
    tone : the card keeps its tone up to there and not beyond.
    """

    at_mm: Array
    step_mm: float
    own: Array
    step: Array
    tone: Array


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LayerSteps:
    """Steps (P,) at P places where edges of layers may lie: heights and standard uncertainties (grey values).

    `above` is the mean grey value just above each, that is, in the layer that begins there.
    """

    height: Array
    err: Array
    above: Array


class EdgeEvidence(Protocol):
    """One way of seeing near ends, looking at one photo's measuring plane."""

    @property
    def plane(self) -> MeasuringPlane:
        """The plane it looks at."""
        ...

    def template(
        self, *, card_mm: float, blur_mm: float, depth_mm: float = 0.0, tone: float | None = None
    ) -> Template:
        """Return what it looks for at a panel of that card."""
        ...

    def usual_tone(self, white: float) -> float:
        """Return the grey value that a stripe's middle usually has where the sheet's paper has `white`."""
        ...

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
        """Evidence along a curve for near ends offset from it by up to `reach_mm`, in steps of `step_mm`.

        Parameters
        ----------
        stations : (S,) in 0..1 along the curve, equally spaced.
        template : the card looked for.
        stack_up : +1 or -1 (up is to the left or right of the curve): a second card may lie right under the
            card looked for, and each place takes the better of both explanations; 0: it may not.
        """
        ...

    def off_tone(self, evidence: Evidence, tone: float | None, free: float = 0.0) -> Array:
        """Penalty (S, K) where a stripe's middle is not of the tone that it should have; 0 for tone None.

        `free` is how far off (natural logarithm) costs nothing.
        """
        ...

    def in_picture(
        self, rows: Array, template: Template, per_mm: float, px_per_mm: float
    ) -> tuple[Array, Array]:
        """Evidence (R, D) for the step at lower offsets and for that at higher ones, everywhere in a picture.

        Parameters
        ----------
        rows : (R, D) grey values; every row is a profile across, with `per_mm` samples a millimetre.
        px_per_mm : scale of the photo, so that over-sampling does not count as more evidence.
        """
        ...

    def ends(
        self, curve: Curve, expected_mm: float, *, reach_mm: float, joint_mm: float, template: Template
    ) -> EndEvidence:
        """Evidence for the card's end along its own line, within `reach_mm` of the expected place.

        Parameters
        ----------
        curve : middle line of the near end, running outward.
        expected_mm : expected end, mm from curve.a; joint_mm : the last joint before it.
        template : the card; its blur is that at the end.
        """
        ...

    def steps(self, strip: Single, step_mm: float, blur_mm: float) -> Array:
        """Evidence (S, D) for a single edge, such as a page's, at every offset of a strip (S, D).

        The strip's offsets are `step_mm` apart.
        """
        ...

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
        """Evidence (W,) per foot for its gluing tab's middle lying at each wanted level on the page.

        Parameters
        ----------
        strip : (S, D) grey values along the page, at offsets (D,) up from its line, mm.
        along : (S,) mm along the line; feet_mm : the feet there.
        wanted : (W,) levels asked for, mm up from the line.
        tone : grey value of near ends, if known.
        """
        ...

    def layers(
        self, curve: Curve, stretch_mm: tuple[float, float], places: Array, template: Template, up: float
    ) -> LayerSteps:
        """Find the steps between layers of card lying on each other, over a stretch of a curve.

        Parameters
        ----------
        places : (P,) where edges of layers may lie, in thicknesses up from the curve.
        up : +1 if up is to the left of the curve.
        """
        ...

    def silhouette(self, profile: Array, across_mm: Array, field: float, card: float) -> float:
        """Place at which a profile (D,) that begins on card gives way to the field; nan if it does not.

        `field` and `card` are the grey values of both.
        """
        ...


def capped(outer: Array, inner: Array, cap: float) -> Array:
    """Both steps of a near end together: the background step counts double, neither more than the cap."""
    out: Array = np.minimum(outer, cap) + 0.5 * np.minimum(inner, cap)
    return out


def softened(llr: Array, scale: float = 20.0) -> Array:
    """Log-likelihoods with diminishing returns, so that no single station decides, yet more stays more."""
    out: Array = scale * np.log1p(llr / scale)
    return out
