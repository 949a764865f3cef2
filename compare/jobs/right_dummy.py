"""Is it the dummy of this design, the right way round, and the same in all photos? Asked before all else.

A fault puts one length wrong, two faults a few. Where many lengths are clearly not the design's, the photo
shows another dummy; where they are those of the other side, it was taken from the other end, or left and
right are exchanged in the spec. And photos told together must show one dummy. None of these is a fault to be
named: each is said in one line, and nothing else is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from capture.errors import SetupError
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import Measured, nominal_lengths
from compare.vocabulary import parsed
from measure.layout import Layout

CLEARLY_MM: Final = 1.0
"""A length is clearly another one if it is off by more than this (hand cutting: 0.3 mm; our choice) ..."""
CLEARLY_U: Final = 3.0
"""... and by so many standard uncertainties."""
SEVERAL: Final = 3
"""So many lengths clearly off are more than one fault makes: then it is asked whether sides are exchanged."""
MANY: Final = 5
"""So many, and half of all, are more than two faults make: it is another dummy, or misread altogether."""
ENOUGH: Final = 9
"""Sides are exchanged if so many lengths, all of them, are those of the other side."""
LOPSIDED_MM: Final = 1.5
"""Sides that differ by less could not be told apart."""
APART_MM: Final = 0.8
"""Two photos show two dummies if a length differs by more than this ..."""
APART_U: Final = 4.5
"""... and by so many standard uncertainties of the difference."""


@dataclass(frozen=True, slots=True)
class OneLength:
    """A photo's name and what it tells of one length: mm and standard uncertainty."""

    photo: str
    mm: float
    u: float


def off_lengths(measured: Measured, nominal: Mapping[str, float]) -> list[str]:
    """Return the lengths that are clearly not the nominal ones."""
    return [
        k
        for k, q in measured.lengths.items()
        if k in nominal and abs(q.value - nominal[k]) > max(CLEARLY_MM, CLEARLY_U * measured.u(q))
    ]


def require_this_design(photo: str, measured: Measured, spec: Spec) -> None:
    """Refuse lengths that are not those of this design, faults or no faults.

    Raises
    ------
    SetupError : many lengths are off; it says which.
    """
    nominal = nominal_lengths(spec, measured.opening.value)
    off = off_lengths(measured, nominal)
    if len(off) >= MANY and 2 * len(off) >= len(measured.lengths):
        told = ", ".join(f"{k} {measured.lengths[k].value:.1f} for {nominal[k]:.1f} mm" for k in off[:3])
        raise SetupError(
            f"{photo}: what was found is not the dummy of this design: {len(off)} of {len(measured.lengths)} "
            f"lengths are clearly others ({told} ...); give the spec that belongs to it, or another photo"
        )


def lopsided(spec: Spec) -> bool:
    """Whether the two sides of a design differ enough to be told apart."""
    lengths = spec.mechanism.lengths
    return any(abs(v - lengths.get(parsed(k).mirrored, v)) > LOPSIDED_MM for k, v in lengths.items())


def exchanged(layout: Layout) -> Layout | None:
    """Return the layout with left and right exchanged; None if a side has joints that the other has not."""
    other = {j: parsed(j).mirrored or j for j in layout.joint_names}
    if any(j not in other for j in other.values()):
        return None

    def mirrored(xy_mm: np.ndarray) -> np.ndarray:
        at = [layout.joint_names.index(other[j]) for j in layout.joint_names]
        return np.asarray(xy_mm[at] * (-1.0, 1.0))

    return replace(
        layout,
        xy_mm=mirrored(layout.xy_mm),
        other_openings=tuple((deg, mirrored(xy)) for deg, xy in layout.other_openings),
    )


def refuse_exchanged(photo: str, before: Measured | None, after: Measured, spec: Spec) -> None:
    """Refuse a photo whose lengths are those of the other side.

    Parameters
    ----------
    before, after : measured as designed (None if that came to nothing), and with left and right exchanged.

    Raises
    ------
    SetupError : they are.
    """
    nominal = nominal_lengths(spec, after.opening.value)
    crossed = {k: nominal[m] for k in nominal if (m := parsed(k).mirrored or k) in nominal}
    fits = not off_lengths(after, crossed) and len(after.lengths) >= ENOUGH
    if fits and (before is None or len(off_lengths(before, nominal)) >= SEVERAL):
        raise SetupError(
            f"{photo}: left and right are exchanged: the lengths are those of the design's other side; take "
            "the photo from the other end of the dummy, or exchange left and right in the spec"
        )


def require_one_dummy(photos: Sequence[str], measured: Sequence[Measured]) -> None:
    """Refuse photos that cannot show one dummy.

    Raises
    ------
    SetupError : a length differs between two of them by more than their uncertainties explain.
    """
    worst, told = 1.0, ("", OneLength("", 0.0, 0.0), OneLength("", 0.0, 0.0))
    for k, other in enumerate(measured[1:], start=1):
        for name, a in measured[0].lengths.items():
            b = other.lengths.get(name)
            if b is None or (name == FEET and not _alike(measured[0], other)):
                continue
            one = OneLength(photos[0], a.value, measured[0].u(a))
            two = OneLength(photos[k], b.value, other.u(b))
            apart = abs(one.mm - two.mm) / max(APART_MM, APART_U * float(np.hypot(one.u, two.u)))
            if apart > worst:
                worst, told = apart, (name, one, two)
    name, one, two = told
    if name:
        raise SetupError(
            f"{two.photo} and {one.photo} do not show one dummy: {name} is {two.mm:.1f} mm in the one and "
            f"{one.mm:.1f} mm in the other; give photos of one dummy, or check each by itself"
        )


def _alike(one: Measured, other: Measured) -> bool:
    """Whether two photos show the dummy equally open, so that its feet are equally far apart."""
    return bool(abs(one.opening.value - other.opening.value) < np.radians(4.0))
