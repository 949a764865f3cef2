"""Joints of a measured profile as quantities: distances and directions with their gradients."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.design.linkage.mechanism import Mechanism
from compare.quantities.quantity import Quantity
from compare.quantities.undetermined import Reason, Why
from compare.vocabulary import Kind, parsed
from measure.layout import Panel
from measure.profile import Profile

FEET: Final = "feet"
RIDGE_GAP: Final = 1.0  # mm, three thicknesses of card


@dataclass(frozen=True, slots=True)
class End:
    """Where a length is measured: the panel it lies on ("" if on none), its first and its second joint."""

    panel: str
    first: str
    second: str


def seen_ends(mechanism: Mechanism) -> dict[str, tuple[str, str]]:
    """Return the joints between which each length is measured.

    Where the design names no "feet", the two joints nearest to the spine stand for them: on a flat base the
    spine is not seen, and their distance is all that is.
    """
    if FEET in mechanism.ends:
        return dict(mechanism.ends)
    near: dict[str, str] = {}
    for name, (a, b) in mechanism.ends.items():
        n = parsed(b)
        if a == Kind.SPINE and n.side and n.kind != Kind.FORE_EDGE and name in mechanism.lengths:
            least = near.setdefault(n.side, name)
            if mechanism.lengths[name] < mechanism.lengths[least]:
                near[n.side] = name
    if len(near) < 2:
        return dict(mechanism.ends)
    return {FEET: (mechanism.ends[near["left"]][1], mechanism.ends[near["right"]][1]), **mechanism.ends}


def ends_of(mechanism: Mechanism) -> dict[str, End]:
    """Return where each length that is seen end-on is measured."""
    out = {}
    for name, (a, b) in seen_ends(mechanism).items():
        on = (p.name for p in mechanism.panels if a in p.joints and b in p.joints)
        out[name] = End(next(on, ""), a, b)
    return out


def bearing_joints(mechanism: Mechanism, panel: Panel) -> tuple[str, ...]:
    """Joints that lie in the panel's own line: not those of a part glued on top of it, nor its free end."""
    level = mechanism.lifts.get(panel.joints[0], 0)
    inner = panel.joints[:-1] if panel.free_end else panel.joints
    return tuple(j for j in inner if mechanism.lifts.get(j, 0) == level)


class Joints:
    """Distances and directions between joints of a profile as quantities over all its coordinates."""

    def __init__(self, profile: Profile, n_inputs: int, misread: Mapping[str, Reason]) -> None:
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


def misread_joints(profile: Profile, mechanism: Mechanism) -> dict[str, Reason]:
    """Joints not to be believed, with the reason: those of a plane half whose line misses the ridge.

    The plane lies on the ridge; even a crease glued some millimetres off it leaves the line within a fraction
    of a millimetre. A line that passes by has locked onto something else.
    """
    out: dict[str, Reason] = {}
    fitted = {p.name: p for p in profile.panels if p.found and len(p.line_mm) > 1}
    for half in mechanism.halves:
        fit = fitted.get(half.plane)
        joints = next((p.joints for p in mechanism.panels if p.name == half.plane), ())
        if fit is None or not joints or joints[0] not in profile.joints:
            continue
        first, last = fit.line_mm[0], fit.line_mm[-1]
        along = (last - first) / np.hypot(*(last - first))
        gap = profile.at(joints[0]) - first
        if abs(float(along[0] * gap[1] - along[1] * gap[0])) > RIDGE_GAP:
            why = Reason(Why.HALF_MISREAD, (half.name, joints[0]))
            out |= dict.fromkeys(joints[1:], why)
    return out
