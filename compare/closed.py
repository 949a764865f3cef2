"""The dummy shut: how far card reaches towards the fore edge, and what stays clear of it.

From the measured lengths: when shut, the chain from the spine runs straight outwards, so foot + fold + plane
half (or foot + page spacing + leg, if longer) is its reach. Of several candidates the farthest counts.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from compare.conformity import Item
from compare.design.linkage import SIDES, closed_reach
from compare.design.spec import Spec
from compare.measured import Measured
from compare.quantity import Quantity


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shut:
    """Reach on one side when shut, as quantities over the inputs, mm."""

    reach: Quantity
    clearance: Quantity
    farthest: str  # what reaches farthest, in words


def _candidates(side: str, has_leg: bool) -> Mapping[str, tuple[str, ...]]:
    if not has_leg:
        return {"the ridge": (f"foot {side}", f"fold {side}")}
    return {
        f"the plane's {side} edge": (f"foot {side}", f"fold {side}", f"plane {side}"),
        f"the top of the {side} leg": (f"foot {side}", f"page spacing {side}", f"leg {side}"),
    }


def shut(measured: Measured, spec: Spec, side: str) -> Shut | None:
    """Reach and clearance on one side; None if a length it needs was not measured."""
    best: Shut | None = None
    for words, names in _candidates(side, side in spec.sides).items():
        if any(k not in measured.working for k in names):
            return None
        parts = [measured.working[k] for k in names]
        reach = sum(parts[1:], parts[0])
        if best is None or reach.value > best.reach.value:
            best = Shut(reach=reach, clearance=measured.working[f"page {side}"] - reach, farthest=words)
    return best


def compare_clearance(measured: Measured, spec: Spec) -> tuple[tuple[Item, ...], dict[str, str]]:
    """Compare the clearance at each fore edge with the least the spec asks for.

    Returns
    -------
    items : clearance (mm, negative = sticks out), one-sided limit; the remark says what was assumed.
    undetermined : name -> reason.
    """
    items: list[Item] = []
    undetermined: dict[str, str] = {}
    nominal = spec.lengths()
    for side in SIDES:
        name = f"clearance {side}"
        found = shut(measured, spec, side)
        if found is None:
            undetermined[name] = measured.assumed.get(f"plane {side}", "a length it needs was not measured")
            continue
        page = nominal[f"page {side}"]
        design = page - float(closed_reach(nominal, side))
        taken = [k for k in (f"foot {side}", f"page {side}") if k in measured.assumed]
        remark = f"{found.farthest} reaches {found.reach.value:.1f} mm"
        if taken:
            remark += f"; from the design: {', '.join(taken)}"
        items.append(
            Item(
                name=name,
                unit="mm",
                nominal=design,
                measured=found.clearance.value,
                u=measured.u(found.clearance),
                low=spec.tolerance.clearance - design,
                high=math.inf,
                remark=remark,
            )
        )
    return tuple(items), undetermined
