"""The whole movement from open to shut: rise, lean, nod, reach, contact, and how far it opens."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from compare.design.design_facts import Contact
from compare.design.linkage.halving import halved
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose, heading
from compare.design.spec.spec import Spec
from compare.design.study.contact import binding_opening, first_contact
from compare.vocabulary import Kind, parsed
from measure.sides import SIDES

NEARLY_SHUT: Final = np.radians(0.5)  # nearer to shut than any stack of card goes
THROUGH_MM: Final = 0.3  # panels that pass each other's lines by more, at both ends, cross; about one card
STEPS: Final = 181
OPEN_STEPS: Final = 1801


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Two panels that pass through each other, and at which openings (rad)."""

    panels: tuple[str, str]
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Motion:
    """A design moved from its widest opening to shut.

    Attributes
    ----------
    phi : (n,) openings, rad, descending.
    pose : the pose at them.
    rise : (n,) height of the highest joint over the spine, along the bisector, mm.
    highest : name of that joint when open.
    over : side -> (n,) how far card reaches along that page beyond its fore edge, mm; negative = inside.
    farthest : side -> the joint that reaches farthest, at the opening where it does.
    near, far : (n,) how far card reaches beyond the near and the far end of the base, mm; negative = inside;
        nan where the base's depth is not given.
    shut_at : opening (rad) at which it jams on the way to shut; 0 = it shuts.
    contact : what meets there; None if it shuts, or nothing can be told.
    opens_to : widest opening (rad) up to flat at which it can be assembled.
    crossings : panels that pass through each other.
    """

    phi: Array
    pose: Pose
    rise: Array
    highest: str
    over: Mapping[str, Array]
    farthest: Mapping[str, str]
    near: Array
    far: Array
    shut_at: float
    contact: Contact | None
    opens_to: float
    crossings: tuple[Crossing, ...]


def sweep(mechanism: Mechanism, widest: float = np.pi, steps: int = STEPS) -> tuple[Array, Pose]:
    """Return openings from `widest` (rad) to shut, and the pose at them."""
    phi = np.linspace(widest, 0.0, steps)
    return phi, mechanism.solve({}, phi)


def opens_to(mechanism: Mechanism, nominal: float) -> float:
    """Widest opening (rad), up to flat, that can be reached from the nominal one."""
    phi = np.linspace(nominal, np.pi, OPEN_STEPS)
    pose = mechanism.solve({}, phi)
    good = np.ones(phi.shape, dtype=bool)
    for xy in pose.joints.values():
        good &= np.isfinite(xy[..., 0])
    bad = np.flatnonzero(~good)
    if bad.size == 0:
        return float(np.pi)

    def assembles(opening: float) -> bool:
        at = mechanism.solve({}, np.array([opening]))
        return all(bool(np.isfinite(xy).all()) for xy in at.joints.values())

    return halved(float(phi[max(int(bad[0]) - 1, 0)]), float(phi[bad[0]]), assembles)[0]


def _beside(a: Array, b: Array, p: Array) -> Array:
    """Signed distance (mm) of p from the line through a and b."""
    way = b - a
    with np.errstate(invalid="ignore", divide="ignore"):
        out: Array = ((p - a)[..., 0] * way[..., 1] - (p - a)[..., 1] * way[..., 0]) / np.hypot(
            way[..., 0], way[..., 1]
        )
    return out


def crossings(mechanism: Mechanism, phi: Array, pose: Pose) -> tuple[Crossing, ...]:
    """Panels that pass through each other, seen end-on (all panels are taken to overlap along the spine).

    Panels that share a joint are left to the angles of `compare.design.study.contact`.
    """
    if mechanism.one_behind_other:
        return ()  # end-on lines may cross without card meeting
    ends = [(p.name, frozenset(p.joints), p.joints[0], p.joints[-1]) for p in mechanism.panels]
    out: list[Crossing] = []
    for i, (one, joints, a, b) in enumerate(ends):
        for other, others, p, q in ends[i + 1 :]:
            if joints & others:
                continue
            pa, pb = pose.joints[a], pose.joints[b]
            pp, pq = pose.joints[p], pose.joints[q]
            off = np.array(
                [_beside(pa, pb, pp), _beside(pa, pb, pq), _beside(pp, pq, pa), _beside(pp, pq, pb)]
            )
            straddle = (off[0] * off[1] < 0) & (off[2] * off[3] < 0)
            through: NDArray[np.bool_] = straddle & (np.abs(off).min(axis=0) > THROUGH_MM)
            if np.any(through):
                at = phi[through]
                out.append(Crossing(panels=(one, other), low=float(at.min()), high=float(at.max())))
    return tuple(out)


def _card(pose: Pose) -> dict[str, Array]:
    """Joints of card above the pages (fore edges and spine belong to the base)."""
    return {k: v for k, v in pose.joints.items() if parsed(k).kind not in (Kind.SPINE, Kind.FORE_EDGE)}


def _over(pose: Pose, phi: Array, side: str, page: Array) -> tuple[Array, str]:
    """Reach along a page beyond its fore edge, and the joint that reaches farthest."""
    sign = 1.0 if side == "right" else -1.0
    along = heading(sign * phi / 2)
    names, rows = [], []
    for name, xy in _card(pose).items():
        names.append(name)
        rows.append(np.sum(xy * along, axis=-1))
    reach = np.array(rows)
    best = int(np.argmax(np.max(np.where(np.isfinite(reach), reach, -np.inf), axis=1)))
    out: Array = reach.max(axis=0) - page  # nan where anything is: it cannot be there
    return out, names[best]


def _ends(spec: Spec, pose: Pose, phi: Array) -> tuple[Array, Array]:
    """Reach beyond the near and the far end of the base, mm."""
    mechanism, depth = spec.mechanism, spec.base.depth
    if depth is None:
        return np.full(phi.shape, np.nan), np.full(phi.shape, np.nan)
    if not pose.points:
        zero = np.zeros(phi.shape)
        return zero, zero + spec.card.strip_depth - depth
    z = np.array([v[..., 2] for v in pose.points.values()])
    if mechanism.glued_at:  # the plane goes with this point, flush with the near end when open
        open_at = int(np.argmin(np.abs(phi - spec.opening)))
        tip = pose.points[mechanism.glued_at][..., 2]
        plane = tip - tip[open_at]
        near = np.maximum(z.max(axis=0), plane)
    else:
        on_plane = (Kind.RIDGE, Kind.PLANE_EDGE)
        plane = np.array([v[..., 2] for k, v in pose.points.items() if parsed(k).kind in on_plane]).min(0)
        near = z.max(axis=0)
    return near, -np.minimum(z.min(axis=0), plane - spec.card.strip_depth) - depth


def move(spec: Spec, steps: int = STEPS) -> Motion:
    """Move a design from its widest opening to shut.

    The widest opening is flat, or as far as the design opens if that is less; a design meant as a background
    is moved from flat too, because a book opens farther than it is meant to be looked at.
    """
    mechanism = spec.mechanism
    widest = opens_to(mechanism, spec.opening)
    phi, pose = sweep(mechanism, widest, steps)
    heights = {k: v[..., 1] for k, v in _card(pose).items()}
    table = np.array(list(heights.values()))
    table = np.where(np.isfinite(table), table, -np.inf)
    rise = table.max(axis=0)
    over: dict[str, Array] = {}
    farthest: dict[str, str] = {}
    for side in SIDES:
        over[side], farthest[side] = _over(pose, phi, side, np.array(spec.base.page(side)))
    near, far = _ends(spec, pose, phi)
    shut_at = binding_opening(mechanism, None, widest)
    open_enough = phi > max(shut_at, NEARLY_SHUT)
    return Motion(
        phi=phi,
        pose=pose,
        rise=np.where(np.isfinite(rise), rise, np.nan),
        highest=list(heights)[int(np.argmax(table[:, 0]))],
        over=over,
        farthest=farthest,
        near=near,
        far=far,
        shut_at=shut_at,
        contact=first_contact(mechanism, shut_at) if shut_at > 0 else None,
        opens_to=widest,
        crossings=crossings(mechanism, phi[open_enough], _cut(pose, open_enough)),
    )


def _cut(pose: Pose, keep: NDArray[np.bool_]) -> Pose:
    """Return the pose at some of its openings."""
    return Pose(
        phi=pose.phi[keep],
        joints={k: np.broadcast_to(v, (*keep.shape, 2))[keep] for k, v in pose.joints.items()},
        turns=pose.turns,
        angles=pose.angles,
        lean=pose.lean,
    )
