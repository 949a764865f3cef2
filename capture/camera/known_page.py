"""What marks on the page tell of it: each page's surface, the line where the sheet stands, the spine."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from capture.arrays import Array

PageSource = Literal["band", "sill", "doorstep"]
"""What lies on the page: the bottom band of a sheet printed without a sill, a sill, a doorstep."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageSide:
    """The upper surface of one page, true mm in sheet coordinates.

    Attributes
    ----------
    side : "left" or "right".
    corners_mm : (3, 3) three points of the surface: at the spine, at the outer end, both where the marks'
        piece ends at the near ends; and at the spine toward the camera.
    gradient : (9, 16) change of `corners_mm` with the view's parameters: these errors go together.
    rest_cov : (9, 9) covariance of what is left when the view is known, how flat the piece lies included.
    n_marks : marks this page was found by.
    """

    side: Literal["left", "right"]
    corners_mm: Array
    gradient: Array = field(repr=False)
    rest_cov: Array = field(repr=False)
    n_marks: int

    def points(self, weights: Array) -> Array:
        """Points (N, 3) of the page by their weights (N, 3) on the corners (each row sums to 1)."""
        out: Array = weights @ self.corners_mm
        return out

    def weights_at(self, x_mm: Array, z_mm: Array | float) -> Array:
        """Weights (N, 3) of the points of the page at sheet x (N,) and z (N,) or common, mm."""
        first = self.corners_mm[0]
        sides = (self.corners_mm[1:] - first)[:, [0, 2]]
        x = np.asarray(x_mm, dtype=float)
        wanted = np.column_stack([x, np.broadcast_to(z_mm, x.shape)]) - first[[0, 2]]
        share = np.linalg.solve(sides.T, wanted.T).T
        return np.column_stack([1 - share.sum(axis=1), share])

    def line_at(self, z_mm: float) -> tuple[Array, Array]:
        """Where the page meets the plane z = z_mm.

        Returns
        -------
        Points (2, 2) at the spine and at the outer end, and their heights' covariance (2, 2), mm^2: of the
        rest, the view taken as known.
        """
        weights = self.weights_at(self.corners_mm[:2, 0], z_mm)
        by_corner = np.kron(weights, np.array([[0.0, 1.0, 0.0]]))
        return self.points(weights)[:, :2], by_corner @ self.rest_cov @ by_corner.T


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KnownPage:
    """What a sill or a doorstep tells of the page, true mm in sheet coordinates.

    Attributes
    ----------
    source : what lies on the page.
    sides : left page, right page, or one of them.
    spine_mm : (3,) where the tick is: the spine, upper surface of the page, at the near ends.
    spine_sd_mm : how well the tick was set on the spine, along the page.
    has_tick : False where nothing was printed to be set on the spine: the place is only likely then.
    near_z_mm, near_sd_mm : where the near ends stand before the sheet (they may stand behind it), and the
        standard uncertainty, before anybody looked at their feet.
    near_gradient : (16,) change of that place with the view's parameters, where a doorstep tells it: these
        errors then go together; None where the sheet itself stands at the near ends.
    """

    source: PageSource
    sides: tuple[PageSide, ...]
    spine_mm: Array
    spine_sd_mm: float
    has_tick: bool
    near_z_mm: float
    near_sd_mm: float
    near_gradient: Array | None = field(default=None, repr=False)

    def side(self, name: str) -> PageSide | None:
        """Return the page of that side; None if nothing lay on it."""
        return next((s for s in self.sides if s.side == name), None)
