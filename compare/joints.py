"""Joints of a measured profile as quantities: distances and directions with their gradients."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from compare.design.linkage import SIDES
from compare.quantity import Quantity
from measure.profile import Profile

Array = NDArray[np.float64]

RIDGE_GAP: Final = 1.0  # mm, three thicknesses of card

ENDS: Final[Mapping[str, tuple[str, str, str]]] = MappingProxyType(
    {
        **{
            f"{name} {s}": (panel.format(s), a.format(s), b.format(s))
            for s in SIDES
            for name, panel, a, b in (
                ("foot", "page {}", "spine", "inner foot {}"),
                ("fold", "fold {}", "inner foot {}", "ridge"),
                ("page spacing", "page {}", "inner foot {}", "outer foot {}"),
                ("plane spacing", "plane {}", "ridge", "leg top {}"),
                ("leg", "leg {}", "outer foot {}", "leg top {}"),
                ("plane", "plane {}", "ridge", "plane edge {}"),
                ("page", "page {}", "spine", "fore edge {}"),
            )
        },
        "feet": ("", "inner foot left", "inner foot right"),
    }
)
"""Length name -> (panel it lies on, first joint, second joint)."""


class Joints:
    """Distances and directions between joints of a profile as quantities over all its coordinates."""

    def __init__(self, profile: Profile, n_inputs: int, misread: Mapping[str, str]) -> None:
        self._profile = profile
        self._n = n_inputs
        self._index = {name: i for i, name in enumerate(profile.joints) if name not in misread}

    def has(self, *names: str) -> bool:
        """Return whether all these joints were measured."""
        return all(n in self._index and bool(np.all(np.isfinite(self._profile.at(n)))) for n in names)

    def _vector(self, a: str, b: str) -> tuple[float, float, int, int]:
        d = self._profile.at(b) - self._profile.at(a)
        return float(d[0]), float(d[1]), 2 * self._index[a], 2 * self._index[b]

    def distance(self, a: str, b: str) -> Quantity:
        """Return the distance from joint a to joint b, mm."""
        dx, dy, i, j = self._vector(a, b)
        r = float(np.hypot(dx, dy))
        g = np.zeros(self._n)
        g[j : j + 2] += (dx / r, dy / r)
        g[i : i + 2] -= (dx / r, dy / r)
        return Quantity(r, g)

    def direction(self, a: str, b: str) -> Quantity:
        """Return the direction from joint a to joint b, rad, counter-clockwise from sheet x."""
        dx, dy, i, j = self._vector(a, b)
        r2 = dx * dx + dy * dy
        g = np.zeros(self._n)
        g[j : j + 2] += (-dy / r2, dx / r2)
        g[i : i + 2] -= (-dy / r2, dx / r2)
        return Quantity(float(np.arctan2(dy, dx)), g)


def misread_joints(profile: Profile) -> dict[str, str]:
    """Joints not to be believed, with the reason: those of a plane half whose line misses the ridge.

    The plane lies on the ridge; even a crease glued some millimetres off it leaves the line within a fraction
    of a millimetre. A line that passes by has locked onto something else.
    """
    out: dict[str, str] = {}
    for side in SIDES:
        fits = [p for p in profile.panels if p.name == f"plane {side}" and p.found and len(p.line_mm) > 1]
        if not fits or "ridge" not in profile.joints:
            continue
        first, last = fits[0].line_mm[0], fits[0].line_mm[-1]
        along = (last - first) / np.hypot(*(last - first))
        gap = profile.at("ridge") - first
        if abs(float(along[0] * gap[1] - along[1] * gap[0])) > RIDGE_GAP:
            why = f"the {side} half of the plane was misread: its line does not come to the ridge"
            out |= {f"leg top {side}": why, f"plane edge {side}": why}
    return out
