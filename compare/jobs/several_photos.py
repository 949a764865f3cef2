"""Several photos of one dummy: what they say together.

Photos at one opening are made into one profile (`measure.joints.many_photos`). Photos at another opening
show the same
card in another pose: only its lengths are common, so they are joined length by length, by generalised least
squares with the covariance of both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from compare.design.spec.spec import Spec
from compare.jobs.one_photo import Shot
from compare.motion_seen.openings_seen import AtOpening
from compare.quantities.measured import Measured, measured_of
from compare.quantities.quantity import Inputs, Quantity
from compare.vocabulary import Kind, named
from measure.joints.joint_location import near_end_prior
from measure.joints.many_photos import Together, combine
from measure.profile import Profile
from measure.sides import SIDES

SAME_OPENING = float(np.radians(4.0))
APART_U, APART_MM = 2.5, 0.5  # lengths differ by more than so many u (and mm): the photos disagree
DEEP_MM = 1.0
COMMON = ("near ends", "standoff")
FEET = tuple(named(Kind.FOOT, side) for side in SIDES)


@dataclass(frozen=True, slots=True)
class PhotosApart:
    """A photo shows a joint elsewhere than the others do: misread, or the dummy was touched between them."""

    photo: str
    joint: str
    apart_mm: float


@dataclass(frozen=True, slots=True)
class NearEndApart:
    """The near end of a panel stands in front of the others (+) or behind; it was taken into account."""

    panel: str
    depth_mm: float


@dataclass(frozen=True, slots=True)
class LengthsApart:
    """Photos at another opening tell another length than the first ones."""

    length: str
    first_mm: float
    other_mm: float
    photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OtherOpening:
    """Photos that show the dummy at another opening; used for its lengths."""

    photos: tuple[str, ...]
    opening_deg: float


SeveralNote = PhotosApart | NearEndApart | LengthsApart | OtherOpening
"""What is to be known about several photos of one dummy."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Gathered:
    """What all photos say together.

    Attributes
    ----------
    profile : joints at the design's own opening, in the first photo's sheet coordinates.
    measured : lengths and angles, those of photos at other openings taken in.
    together : how the photos at that opening were joined; None if there is only one.
    openings_deg : for every photo the opening at which it shows the dummy; nan if it does not tell.
    groups : the photos by opening, each group measured without the others; the first is the one judged.
    notes : what they say of each other, disagreements first.
    """

    profile: Profile
    measured: Measured
    together: Together | None
    openings_deg: tuple[float, ...]
    groups: tuple[AtOpening, ...]
    notes: tuple[SeveralNote, ...]


def known_lengths(shot: Shot, spec: Spec) -> dict[str, float]:
    """Lengths that a photo tells, mm, by the names of the design's mechanism; to look for them in another."""
    return {k: q.value for k, q in shot.measured.lengths.items() if k in spec.mechanism.lengths}


def _opening(measured: Measured) -> float:
    q = measured.angles.get("opening")
    return float("nan") if q is None else q.value


def gather(shots: Sequence[Shot], spec: Spec) -> Gathered:
    """Join the photos; the first one sets the opening at which the dummy is judged."""
    openings = [_opening(s.measured) for s in shots]
    degrees = tuple(float(np.degrees(o)) for o in openings)
    if len(shots) == 1:
        return Gathered(
            profile=shots[0].profile,
            measured=shots[0].measured,
            together=None,
            openings_deg=degrees,
            groups=(AtOpening(photos=(shots[0].photo.name,), measured=shots[0].measured),),
            notes=(),
        )
    same = [k for k, o in enumerate(openings) if k == 0 or not abs(o - openings[0]) > SAME_OPENING]
    others = [k for k in range(len(shots)) if k not in same]
    profile, together, notes = _joined([shots[k] for k in same])
    measured = measured_of(profile, spec)
    groups = [AtOpening(photos=tuple(shots[k].photo.name for k in same), measured=measured)]
    while others:
        first = others[0]
        group = [k for k in others if abs(openings[k] - openings[first]) <= SAME_OPENING] or [first]
        others = [k for k in others if k not in group]
        other, _, told = _joined([shots[k] for k in group])
        names = tuple(shots[k].photo.name for k in group)
        groups.append(AtOpening(photos=names, measured=measured_of(other, spec)))
        measured, apart = _with_lengths(measured, profile, groups[-1].measured, other, names)
        notes = [*apart, *notes, *told, OtherOpening(names, degrees[first])]
    return Gathered(
        profile=profile,
        measured=measured,
        together=together,
        openings_deg=degrees,
        groups=tuple(groups),
        notes=tuple(notes),
    )


def _joined(shots: Sequence[Shot]) -> tuple[Profile, Together | None, list[SeveralNote]]:
    """Make one profile of photos at one opening, and say what is to be told about them."""
    if len(shots) == 1:
        return shots[0].profile, None, []
    together = combine([s.profile for s in shots])
    notes: list[SeveralNote] = [
        PhotosApart(shots[d.photo].photo.name, d.joint, d.apart_mm) for d in together.disagreements[:3]
    ]
    for name, depth in together.near_end_mm.items():
        if abs(depth) > max(DEEP_MM, 2 * together.near_end_u_mm[name]):
            notes.append(NearEndApart(name, depth))
    return together.profile, together, notes


def _stacked(a: Measured, pa: Profile, b: Measured, pb: Profile) -> Inputs:
    """Stack the inputs of both, with what their near ends have in common."""
    n, m = len(a.inputs.cov), len(b.inputs.cov)

    def both(first: Array | None, second: Array | None) -> Array:
        out = np.zeros((n + m, n + m))
        if first is not None:
            out[:n, :n] = first
        if second is not None:
            out[n:, n:] = second
        return out

    names = dict.fromkeys([*a.inputs.by_source, *b.inputs.by_source])
    parts = {k: both(a.inputs.by_source.get(k), b.inputs.by_source.get(k)) for k in names}
    shared = [p for p in pa.near_ends if p in pb.near_ends]
    if shared and "near ends" in parts:
        ga, gb = (_gain_of(p, shared) for p in (pa, pb))
        cross = ga @ near_end_prior(len(shared), min(pa.near_end_sd_mm, pb.near_end_sd_mm)) @ gb.T
        parts["near ends"][: len(ga), n : n + len(gb)] += cross
        parts["near ends"][n : n + len(gb), : len(ga)] += cross.T
    return Inputs(np.sum(list(parts.values()), axis=0), parts)


def _gain_of(profile: Profile, panels: Sequence[str]) -> Array:
    columns = [2 * profile.near_ends.index(p) + k for p in panels for k in (0, 1)]
    out: Array = profile.near_end_gain[:, columns]
    return out


def _padded(q: Quantity, before: int, after: int) -> Quantity:
    return Quantity(q.value, np.pad(q.gradient, (before, after)))


def _with_lengths(
    a: Measured, pa: Profile, b: Measured, pb: Profile, photos_b: tuple[str, ...]
) -> tuple[Measured, list[SeveralNote]]:
    """Lengths of two groups of photos joined; angles and lean stay the first group's."""
    n, m = len(a.inputs.cov), len(b.inputs.cov)
    inputs = _stacked(a, pa, b, pb)
    here = {k: _padded(q, 0, m) for k, q in a.lengths.items()}
    there = {k: _padded(q, n, 0) for k, q in b.lengths.items() if k != Kind.FEET}
    unknown = [k for k in dict.fromkeys([*here, *there]) if k != Kind.FEET]
    apart: list[SeveralNote] = [
        LengthsApart(k, here[k].value, there[k].value, photos_b)
        for k in here
        if k in there
        and abs(here[k].value - there[k].value) > max(APART_MM, APART_U * inputs.u(here[k] - there[k]))
    ]
    feet_known = all(f in there or f in here for f in FEET)
    rows, design = [], []
    for k, q in [*here.items(), *there.items()]:
        if k == Kind.FEET and not feet_known:
            continue
        row = np.zeros(len(unknown))
        for name in FEET if k == Kind.FEET else (k,):
            row[unknown.index(name)] = 1.0  # the feet of a flat spread are as far apart as both together
        rows.append(q)
        design.append(row)
    h = np.array(design)
    w = np.linalg.inv(inputs.covariance(rows) + 1e-6 * np.eye(len(rows)))
    gain = np.linalg.solve(h.T @ w @ h, h.T @ w)
    values = gain @ np.array([q.value for q in rows])
    gradients = gain @ np.array([q.gradient for q in rows])
    lengths = {k: Quantity(float(values[i]), gradients[i]) for i, k in enumerate(unknown)}
    if Kind.FEET in here:
        lengths[Kind.FEET] = lengths[FEET[0]] + lengths[FEET[1]] if feet_known else here[Kind.FEET]
    ordered = [k for k in [*a.lengths, *b.lengths] if k in lengths]
    lengths = {k: lengths[k] for k in dict.fromkeys(ordered)}
    working = {k: _padded(q, 0, m) for k, q in a.working.items()}
    working |= {k: q for k, q in lengths.items() if k in working}
    joined = replace(
        a,
        lengths=lengths,
        angles={k: _padded(q, 0, m) for k, q in a.angles.items()},
        lean={k: _padded(q, 0, m) for k, q in a.lean.items()},
        working=working,
        opening=_padded(a.opening, 0, m),
        assumed={k: why for k, why in a.assumed.items() if k not in lengths},
        undetermined={k: why for k, why in a.undetermined.items() if k not in lengths},
        inputs=inputs,
    )
    return joined, apart
