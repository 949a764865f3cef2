"""The parts of a design in trade terms. All lengths in millimetres, angles in degrees."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from measure.layout import Role


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Two pages and the spine: page widths (spine to fore edge), depth head to tail, opening (degrees)."""

    page_left: float
    page_right: float
    depth: float | None
    opening_deg: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The card of strips and plane: thickness, length of a strip along the spine, spread (sd) of its end.

    tab : width of the gluing tabs; those of the inner feet point towards the spine and must not cross it;
        nan if the spec does not say.
    """

    thickness: float
    strip_depth: float
    near_end_spread: float
    tab: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """The parallel fold: its two sides (foot to ridge), and its feet (spine to foot); nan = none there."""

    left: float
    right: float
    foot_left: float
    foot_right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Parallelogram:
    """One leg, and its distances from the fold along the page and along the plane."""

    leg: float
    page_spacing: float
    plane_spacing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """A plain card from the page up to a tab under the plane of the other side.

    length : its length, fold to fold; foot : spine to its foot; tab : ridge to its top along the plane,
    negative on the support's own side of the ridge.
    """

    length: float
    foot: float
    tab: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Flap:
    """A flap hinged on the page and pulled up by a strap from the plane's outer edge.

    hinge : spine to hinge; flap : hinge to strap; strap : plane's edge to flap.
    """

    hinge: float
    flap: float
    strap: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The floating plane: ridge to outer edge on either side; 0 = no half on that side."""

    left: float
    right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Construction:
    """A parallel fold (or a fold and a support) with a plane on legs: on the base, or on a plane below.

    Attributes
    ----------
    legs : side -> its legs, from the ridge outwards.
    supports, flaps : side -> support or flap, only sides that have one.
    """

    fold: Fold
    plane: Plane
    legs: Mapping[str, tuple[Parallelogram, ...]]
    supports: Mapping[str, Support] = field(default_factory=dict)
    flaps: Mapping[str, Flap] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class VSide:
    """One panel of a V-fold.

    glue_deg : angle of its glue line to the spine; panel_deg : angle between glue line and crease; width :
    length of the glue line from the spine; plane_deg : angle to the plane's crease at which it is glued
    under the plane.
    """

    glue_deg: float
    panel_deg: float
    width: float
    plane_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VFold:
    """A V-fold on the spine, opening towards the camera, that carries a plane.

    crease : length of its crease; near : how far its point lies behind the near end of the base.
    """

    crease: float
    near: float
    sides: Mapping[str, VSide]
    legs: Mapping[str, Parallelogram]
    plane: Plane


@dataclass(frozen=True, slots=True, kw_only=True)
class Pillar:
    """Two V-folds facing each other, a plane on top, legs parallel to the spine out to the sides.

    crease_near, crease_far : lengths of the two creases; gap : distance of the two points on the spine;
    middle : how far the middle of the pillar lies behind the near end. Spacings of the legs count from spine
    and ridge. The plane is glued to the far crease; the near one props it.
    """

    crease_near: float
    crease_far: float
    glue_deg: float
    panel_deg: float
    width: float
    gap: float
    middle: float
    legs: Mapping[str, Parallelogram]
    plane: Plane


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPanel:
    """A panel of a drawn linkage: a straight card through these joints, in order."""

    name: str
    joints: tuple[str, ...]
    role: Role
    parallel_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A linkage given by its joints, as drawn at the design's opening, and its panels."""

    joints: Mapping[str, tuple[float, float]]
    panels: tuple[DrawnPanel, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What is allowed: +- on a length, a matched pair (mm) and level (degrees); least clearance (mm).

    lengths : length name -> +- for that length alone (degrees for an angle).
    spread : how the builder's lengths scatter (standard deviation, mm); nan = by the way of cutting.
    spreads : length name -> the same for that length alone.
    """

    length: float
    matched: float
    level_deg: float
    clearance: float
    lengths: Mapping[str, float] = field(default_factory=dict)
    spread: float = float("nan")
    spreads: Mapping[str, float] = field(default_factory=dict)

    def of(self, name: str) -> float:
        """Return what is allowed on one length, mm (degrees for an angle)."""
        return self.lengths.get(name, self.length)
