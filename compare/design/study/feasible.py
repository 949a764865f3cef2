"""Can the design be built? What its construction asks for, and that everything in it is held."""

from typing import Final

import numpy as np

from compare.compare_errors import SpecError
from compare.design.spec.spec import Spec
from compare.units import unit_of
from compare.vocabulary import parsed

LONGEST: Final = 1.5  # diagonals of a page; longer card cannot lie in the shut book


def _check_names(spec: Spec) -> None:
    """Refuse tolerances for lengths the design does not have."""
    known = spec.mechanism.lengths
    for table, named in (
        ("tolerance.lengths", spec.tolerance.lengths),
        ("tolerance.spreads", spec.tolerance.spreads),
    ):
        for name in named:
            if name not in known:
                raise spec.fail(table, name, f"the design has no such length; it has {', '.join(known)}")


def _check_sizes(spec: Spec) -> None:
    """Refuse a length that is no part of a card of this size: a slip of the pen, or of the unit."""
    base = spec.base
    page = max(base.page_left, base.page_right)
    most = LONGEST * float(np.hypot(page, base.depth or page))
    for name, size in spec.mechanism.lengths.items():
        if name in spec.mechanism.degrees or parsed(name).is_page or size <= most:
            continue
        table, key = spec.building.key_of(name) or ("", name)
        unit = unit_of(spec.units)
        text = (
            f"{unit.number(size)} {unit.name} is too long for pages of {unit.number(page)} {unit.name}; "
            f"at most {unit.number(most)} {unit.name} is possible"
        )
        raise spec.fail(table, key, text)


def check_buildable(spec: Spec) -> None:
    """Refuse a design that cannot be built.

    Raises
    ------
    SpecError : a foot beyond the page, feet on each other, a tab over the spine, a loop that cannot be
        assembled, a tolerance for a length that is not there.
    """
    spec.building.check(spec)
    _check_sizes(spec)
    _check_names(spec)
    for joint, xy in spec.mechanism.solve({}, spec.opening).joints.items():
        if not np.all(np.isfinite(xy)):
            raise SpecError(
                f"{spec.source.name}: the design cannot be assembled at {spec.base.opening_deg:g} degrees: "
                f"nothing holds the {joint}"
            )
