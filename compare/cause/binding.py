"""At which opening the dummy binds when it is shut, because its sums do not close, and whether that matters.

A closing error e lets the linkage close only down to an opening of about the square root of e: half a
millimetre binds at some 10 to 15 degrees already. Hand-cut dummies therefore normally bind a little, and card
gives; what counts is whether this one binds earlier than the same design cut with ordinary care would.
Because the law is a square root, no first-order propagation holds (at e = 0 it has no slope): the measured
lengths are drawn from their joint distribution (JCGM 101:2008) and each draw is closed.
"""

from dataclasses import dataclass

import numpy as np

from compare.design.spec.spec import Spec
from compare.design.study.contact import binding_openings
from compare.design.study.usual_binding import draws_for, usual_of
from compare.quantities.measured import Measured
from compare.vocabulary import Kind, named
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """The opening at which card first meets card, degrees.

    Attributes
    ----------
    phi_deg : for the lengths as measured; 0 = it shuts.
    low_deg, high_deg : 95 % of what the uncertainty of the lengths allows.
    usual_deg : 95 % of dummies of this design, cut by hand with ordinary care, bind below this; nan where
        that would take too long to work out (V-folds that carry a plane).
    gap_mm : how far the fore edges still stand apart there.
    assumed : lengths this rests on that were not measured.
    """

    phi_deg: float
    low_deg: float
    high_deg: float
    usual_deg: float
    gap_mm: float
    assumed: tuple[str, ...]

    @property
    def matters(self) -> bool:
        """True if it binds earlier than ordinary hand work, whatever the uncertainty."""
        return self.low_deg > self.usual_deg


def binding_of(measured: Measured, spec: Spec, rng: np.random.Generator | None = None) -> Binding | None:
    """Binding of a measured dummy; None if a length its loops need was not measured.

    Parameters
    ----------
    rng : for the draws; None: a fixed one, so that the same photo always gives the same answer.
    """
    mechanism = spec.mechanism
    needed = {k for loop in mechanism.loops for k in (*loop.one, *loop.other)} & set(mechanism.ends)
    if not needed or not needed <= set(measured.working):
        return None
    rng = np.random.default_rng(106) if rng is None else rng
    phi = min(measured.opening.value, np.pi)
    names = [k for k in mechanism.lengths if k in measured.working]
    best = np.array([measured.working[k].value for k in names])
    cov = measured.inputs.covariance([measured.working[k] for k in names])
    draws = rng.multivariate_normal(best, cov, draws_for(mechanism), method="eigh")
    draws[0] = best
    found = np.degrees(binding_openings(mechanism, {k: draws[:, i] for i, k in enumerate(names)}, phi))
    low, high = np.quantile(found, (0.025, 0.975))
    opening = float(np.radians(spec.base.opening_deg))
    pages = [v for k, v in mechanism.lengths.items() if k in {named(Kind.PAGE, side) for side in SIDES}]
    return Binding(
        phi_deg=float(found[0]),
        low_deg=float(min(low, found[0])),
        high_deg=float(max(high, found[0])),
        usual_deg=float(np.degrees(usual_of(mechanism, opening))),
        gap_mm=2 * float(np.mean(pages)) * float(np.sin(np.radians(found[0]) / 2)) if pages else 0.0,
        assumed=tuple(k for k in measured.assumed if k in needed),
    )
