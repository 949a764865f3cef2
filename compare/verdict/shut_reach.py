"""The dummy shut: how far card reaches towards the fore edge, and what stays clear of it.

From the measured lengths: when shut, a chain from the spine runs straight outwards, so foot + fold + plane
half (or foot + page spacing + leg) is its reach. Of several chains the farthest counts.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from compare.design.linkage.mechanism import Reach
from compare.design.spec.spec import Spec
from compare.quantities.measured import Measured
from compare.quantities.quantity import Quantity
from compare.quantities.undetermined import Reason, Undetermined, Why
from compare.verdict.conformity import COVERAGE, Item
from compare.verdict.remarks import Reaches, SeenShut
from compare.vocabulary import FORE_EDGES, Kind, Told, named, parsed, told_of
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shut:
    """Reach on one side when shut, as quantities over the inputs, mm."""

    reach: Quantity
    clearance: Quantity
    farthest: str  # the joint that reaches farthest
    lengths: tuple[str, ...]


def shut(measured: Measured, spec: Spec, side: str) -> Shut | None:
    """Reach and clearance on one side; None if a length it needs was not measured."""
    best: Shut | None = None
    for chain in spec.mechanism.reaches:
        if chain.side != side or any(k not in spec.mechanism.ends for k in chain.lengths):
            continue
        if any(k not in measured.working for k in chain.lengths):
            return None
        parts = [measured.working[k] for k in chain.lengths]
        reach = sum(parts[1:], parts[0])
        if best is None or reach.value > best.reach.value:
            best = Shut(
                reach=reach,
                clearance=measured.working[named(Kind.PAGE, side)] - reach,
                farthest=chain.joint,
                lengths=chain.lengths,
            )
    return best


def design_reach(spec: Spec, side: str) -> float:
    """How far the design reaches from the spine on one side when shut, mm."""
    lengths = spec.mechanism.lengths
    chains = [r.lengths for r in spec.mechanism.reaches if r.side == side]
    return max((sum(lengths[k] for k in chain) for chain in chains), default=0.0)


def closed_chains(spec: Spec, side: str) -> tuple[Reach, ...]:
    """Return the chains that lie stretched when shut on one side and can be seen end-on."""
    m = spec.mechanism
    return tuple(r for r in m.reaches if r.side == side and all(k in m.ends for k in r.lengths))


def clearance_limits(spec: Spec, side: str) -> tuple[float, float] | None:
    """Return the design's clearance at a fore edge, mm, and how much less (negative) is allowed.

    None where the design has no page there, or nothing above it that can be seen end-on.
    """
    page = spec.mechanism.lengths.get(named(Kind.PAGE, side))
    if page is None or not closed_chains(spec, side):
        return None
    design = page - design_reach(spec, side)
    return design, spec.tolerance.clearance - design


def compare_clearance(measured: Measured, spec: Spec) -> tuple[tuple[Item, ...], dict[str, Undetermined]]:
    """Compare the clearance at each fore edge with the least the spec asks for.

    Returns
    -------
    items : clearance (mm, negative = sticks out), one-sided limit; a remark says what was assumed.
    undetermined : name -> reason.
    """
    items: list[Item] = []
    undetermined: dict[str, Undetermined] = {}
    nominal = spec.mechanism.lengths
    for side in SIDES:
        name = told_of(Told.CLEARANCE, side)
        if named(Kind.PAGE, side) not in nominal or design_reach(spec, side) == 0:
            continue
        found = shut(measured, spec, side)
        if found is None:
            undetermined[name] = measured.assumed.get(named(Kind.PLANE, side), Reason(Why.LENGTH_MISSING))
            continue
        page = nominal[named(Kind.PAGE, side)]
        design = page - design_reach(spec, side)
        taken = [k for k in (*found.lengths, named(Kind.PAGE, side)) if k in measured.assumed]
        items.append(
            Item(
                name=name,
                unit="mm",
                nominal=design,
                measured=found.clearance.value,
                u=measured.u(found.clearance),
                low=spec.tolerance.clearance - design,
                high=math.inf,
                remarks=(Reaches(found.farthest, found.reach.value, tuple(taken)),),
            )
        )
    return tuple(items), undetermined


def with_photo_of_shut(
    clearances: Sequence[Item], seen: Mapping[str, tuple[float, float]]
) -> tuple[Item, ...]:
    """Return the clearances, measured ones in place of predicted ones where a photo of the shut dummy tells.

    A photo from above shows card that sticks out, not how far it stays inside.

    Parameters
    ----------
    seen : as for `compare_overhang`.
    """
    beyond = {side: seen[edge] for edge, side in FORE_EDGES.items() if edge in seen and seen[edge][0] > 0}
    out = []
    for item in clearances:
        side = parsed(item.name).side
        if side in beyond:
            value, u = beyond[side]
            remarks = (*item.remarks, SeenShut(item.measured))
            item = replace(item, measured=-value, u=u, remarks=remarks)
        out.append(item)
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Overhang:
    """Card beyond one edge of the shut spread: as a closed photo shows it, and as the open one predicts it.

    Attributes
    ----------
    edge : "left fore edge", "right fore edge", "head" or "tail".
    measured_mm, measured_u_mm : from the closed photo, + = beyond the edge, and its standard uncertainty.
    predicted_mm, predicted_u_mm : from the lengths of the open photo; nan where they tell nothing.
    """

    edge: str
    measured_mm: float
    measured_u_mm: float
    predicted_mm: float
    predicted_u_mm: float

    @property
    def difference_mm(self) -> float:
        """Measured minus predicted."""
        return self.measured_mm - self.predicted_mm

    @property
    def difference_expanded_mm(self) -> float:
        """Expanded uncertainty (k = 2) of the difference; the two photos are independent."""
        return COVERAGE * math.hypot(self.measured_u_mm, self.predicted_u_mm)

    @property
    def disagrees(self) -> bool:
        """True if the two differ by more than their uncertainty."""
        return abs(self.difference_mm) > self.difference_expanded_mm


def compare_overhang(
    measured: Measured, spec: Spec, seen: Mapping[str, tuple[float, float]]
) -> tuple[Overhang, ...]:
    """Set the overhang of a closed photo beside the one predicted from the open photo.

    Parameters
    ----------
    seen : edge ("left fore edge", "right fore edge", "head", "tail") -> overhang (mm, + = beyond the edge)
        and its standard uncertainty (mm).

    Returns
    -------
    One per edge, in the order given.
    """
    out: list[Overhang] = []
    for edge, (value, u) in seen.items():
        predicted = shut(measured, spec, FORE_EDGES[edge]) if edge in FORE_EDGES else None
        out.append(
            Overhang(
                edge=edge,
                measured_mm=value,
                measured_u_mm=u,
                predicted_mm=-predicted.clearance.value if predicted else math.nan,
                predicted_u_mm=measured.u(predicted.clearance) if predicted else math.nan,
            )
        )
    return tuple(out)
