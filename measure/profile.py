"""The measured profile: joints in millimetres with their joint covariance, and one fit per panel."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from capture.arrays import Array
from measure.reasons import Note, Unseen, WhyUnseen


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PanelFit:
    """One panel as found in the photo.

    Attributes
    ----------
    name : the panel's name in the layout.
    found : False if the photo does not show it well enough; then the numbers are nan.
    reason : why it was not found; None if it was.
    line_mm : (K, 2) points of the fitted middle line of the near end, in order, for drawing.
    angle_rad : direction of the chord from first to last joint, counter-clockwise from sheet x.
    sagitta_mm : bow of the panel (middle of the curve off its chord; + to the left of the direction).
    rms_mm : scatter of the edge samples about the fitted curve.
    n_used, n_stations : edge samples used, and tried.
    """

    name: str
    found: bool
    reason: WhyUnseen | None
    line_mm: Array
    angle_rad: float
    sagitta_mm: float
    rms_mm: float
    n_used: int
    n_stations: int

    @classmethod
    def unseen(cls, name: str, reason: WhyUnseen | None) -> "PanelFit":
        """Return a panel that the photo does not show; without a reason it was just not found."""
        return cls(
            name=name,
            found=False,
            reason=reason or WhyUnseen(kind=Unseen.NOT_FOUND),
            line_mm=np.zeros((0, 2)),
            angle_rad=float("nan"),
            sagitta_mm=float("nan"),
            rms_mm=float("nan"),
            n_used=0,
            n_stations=0,
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Profile:
    """All that was measured in one photo.

    Joints are in sheet coordinates (mm, x right, y up) in the plane z = standoff_mm. A joint that the
    photo does not determine (the spine of a flat, unmarked base) is not in `joints`; it is named in
    `undetermined` with the reason.

    Attributes
    ----------
    joints : names of the measured joints.
    xy_mm : (J, 2) their positions.
    cov_mm2 : (2J, 2J) joint covariance, order x0, y0, x1, y1, ...; the sum of `cov_by_source`.
    cov_by_source : the same covariance, one matrix per source of uncertainty.
    extra_arc_mm : by panel name, what the card is longer than the sum of its chords because it is bowed.
    panels : one fit per panel of the layout, in its order.
    undetermined : joint name -> why it is not in `joints`.
    standoff_mm : height of the measured plane above the sheet.
    near_ends : panels in the order of `near_end_gain`.
    near_end_gain : (2J, 2P) how the joints seem displaced, mm for each mm by which the first and the last
        corner of a panel's near end stand in front of the measured plane (toward the camera).
    near_end_sd_mm : standard deviation of those corners, as stated in the design.
    notes : what the user should know about the measurement.
    by_hand : joints that were pointed at by hand, with the hand's standard uncertainty in pixels.
    inked : whether near ends were seen as lines of ink.
    """

    joints: tuple[str, ...]
    xy_mm: Array
    cov_mm2: Array
    cov_by_source: Mapping[str, Array]
    extra_arc_mm: Mapping[str, float]
    panels: tuple[PanelFit, ...]
    undetermined: Mapping[str, WhyUnseen]
    standoff_mm: float
    notes: tuple[Note, ...] = ()
    near_ends: tuple[str, ...] = ()
    near_end_gain: Array = field(default_factory=lambda: np.zeros((0, 0)))
    near_end_sd_mm: float = 0.0
    by_hand: Mapping[str, float] = field(default_factory=dict)
    inked: bool = False

    def at(self, joint: str) -> Array:
        """Position (2,) of a measured joint, mm; KeyError if it was not measured."""
        if joint not in self.joints:
            raise KeyError(joint)
        out: Array = self.xy_mm[self.joints.index(joint)]
        return out

    def panel(self, name: str) -> PanelFit:
        """Return the fit of the panel with that name."""
        return next(p for p in self.panels if p.name == name)
