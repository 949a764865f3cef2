"""At which opening dummies of a design usually bind when they are shut, cut by hand with ordinary care."""

from functools import lru_cache
from typing import Final

import numpy as np

from compare.design.linkage.mechanism import Mechanism
from compare.design.study.contact import binding_openings, is_quick

DRAWS: Final = 400  # the quantile moves by a degree or so from seed to seed; it is told to a degree
FEW_DRAWS: Final = 80  # where the linkage is solved by iteration: within two or three degrees
CARE_SD: Final = 0.3  # mm, each length cut and glued by hand; as `compare.cause.causes.CUTTING_SD`
MOST: Final = 0.95  # of such dummies bind below what is called usual


def draws_for(mechanism: Mechanism) -> int:
    """Return how many dummies are drawn."""
    return DRAWS if is_quick(mechanism) else FEW_DRAWS


def usual_binding(mechanism: Mechanism, phi: float, rng: np.random.Generator) -> float:
    """Return the opening (rad) below which 95 % of dummies of this design, cut by hand, bind."""
    names = [k for k in mechanism.lengths if k in mechanism.ends]
    lengths = {k: mechanism.lengths[k] + rng.normal(0, CARE_SD, draws_for(mechanism)) for k in names}
    return float(np.quantile(binding_openings(mechanism, lengths, phi), MOST))


@lru_cache(maxsize=32)
def usual_of(mechanism: Mechanism, phi: float) -> float:
    """Return the same always for one design, opened to `phi` (rad).

    nan where it would take too long to work out (V-folds that carry a plane).
    """
    if mechanism.solve({}, 1.0).nod is not None:
        return float("nan")
    return usual_binding(mechanism, phi, np.random.default_rng(106))
