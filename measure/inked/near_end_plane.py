"""The plane in which the near ends stand, and what of the measured plane belongs where in it.

Everything is measured in a plane parallel to the sheet; the near ends stand in one of their own, square to
the page: some way in front of the sheet or behind it, and turned a little against it. A line carried from one
to the other moves along the rays from the camera.
"""

from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageSurface:
    """Where the joints on a page lie in space, sheet mm: half a card above its surface.

    Attributes
    ----------
    corners_mm : (3, 3) at the spine, farther out, and at the spine toward the camera.
    """

    corners_mm: Array

    @property
    def normal(self) -> Array:
        """Unit vector (3,) up from the page."""
        n = np.cross(self.corners_mm[1] - self.corners_mm[0], self.corners_mm[2] - self.corners_mm[0])
        out: Array = n * np.sign(n[1]) / np.linalg.norm(n)
        return out

    def share(self, x_mm: float) -> float:
        """How far from the first corner to the second a place is: 0 at the one, 1 at the other."""
        first, second = self.corners_mm[0, 0], self.corners_mm[1, 0]
        return float((x_mm - first) / (second - first))

    def raised(self, heights_mm: Array) -> Array:
        """Corners (3, 3) with the first two so much (2,) higher; the third goes with the first."""
        out = self.corners_mm.copy()
        out[:, 1] += heights_mm[[0, 1, 0]]
        return out

    def met_by(self, eye_mm: Array, through_mm: Array) -> tuple[Array, float]:
        """Where (3,) the ray from the eye through a point (3,) meets the page, and dz per mm of height."""
        ray = through_mm - eye_mm
        n = self.normal
        along = float((self.corners_mm[0] - eye_mm) @ n / (ray @ n))
        return eye_mm + along * ray, float(ray[2] * n[1] / (ray @ n))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NearEndPlane:
    """The plane z = offset + turn x + lean (y - y0) of the sheet's coordinates, with millimetres of its own.

    Its millimetres (x, y) are the sheet's, but for the small turns: a point on the line x = 0, y = y0 keeps
    its place.
    """

    offset_mm: float
    turn: float
    lean: float
    y0_mm: float

    @property
    def normal(self) -> Array:
        """Vector (3,) square to the plane; its z is 1."""
        return np.array([-self.turn, -self.lean, 1.0])

    @property
    def _origin(self) -> Array:
        return np.array([0.0, self.y0_mm, self.offset_mm])

    @property
    def _axes(self) -> Array:
        """(2, 3) unit vectors across and up."""
        up = np.array([0.0, 1.0, self.lean]) / np.hypot(1.0, self.lean)
        across = np.array([1.0, 0.0, self.turn])
        across = across - (across @ up) * up
        return np.stack([across / np.linalg.norm(across), up])

    def flat(self, xyz_mm: Array) -> Array:
        """Millimetres (..., 2) of the plane of points (..., 3) on it or square before it."""
        out: Array = (xyz_mm - self._origin) @ self._axes.T + np.array([0.0, self.y0_mm])
        return out

    def carried(self, curve: Curve, eye_mm: Array, z_mm: float, own_mm: float) -> Curve:
        """Return a line of the plane z = z_mm as it lies on a near end `own_mm` before this one."""
        seen = np.column_stack([np.stack([curve.a, curve.b]), np.full(2, z_mm)])
        rays = seen - eye_mm
        along = (self._origin @ self.normal + own_mm - eye_mm @ self.normal) / (rays @ self.normal)
        a, b = self.flat(eye_mm + along[:, None] * rays)
        return Curve(a=a, b=b, bow=curve.bow)

    def page_line(self, corners_mm: Array) -> Curve:
        """Line in which a page given by three corners (3, 3) meets the plane, from the spine outward."""
        toward = corners_mm[2] - corners_mm[0]
        level = self._origin @ self.normal
        starts = corners_mm[:2]
        along = (level - starts @ self.normal) / float(toward @ self.normal)
        a, b = self.flat(starts + along[:, None] * toward)
        return Curve(a=a, b=b)
