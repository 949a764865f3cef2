"""Can the design be built? What its construction asks for, and that everything in it is held."""

import numpy as np

from compare.compare_errors import SpecError
from compare.design.spec.spec import Spec


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


def check_buildable(spec: Spec) -> None:
    """Refuse a design that cannot be built.

    Raises
    ------
    SpecError : a foot beyond the page, feet on each other, a tab over the spine, a loop that cannot be
        assembled, a tolerance for a length that is not there.
    """
    spec.building.check(spec)
    _check_names(spec)
    for joint, xy in spec.mechanism.solve({}, spec.opening).joints.items():
        if not np.all(np.isfinite(xy)):
            raise SpecError(
                f"{spec.source.name}: the design cannot be assembled at {spec.base.opening_deg:g} degrees: "
                f"nothing holds the {joint}"
            )
