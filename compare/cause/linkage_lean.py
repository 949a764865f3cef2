"""The lean of a plane half as the linkage has it for given lengths, and as an end-on photo would show it."""

from collections.abc import Mapping

import numpy as np

from capture.arrays import Array
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose, turn_of
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import bearing_joints
from compare.quantities.measured import Measured
from compare.quantities.quantity import Quantity, chain


def governing_lengths(mechanism: Mechanism, half: str) -> tuple[str, ...]:
    """Return the lengths that decide the lean of one half and can be seen, in the order they are reported."""
    return tuple(k for k in mechanism.half(half).governs if k in mechanism.ends)


def seen_lean(mechanism: Mechanism, pose: Pose, half: str) -> Array:
    """Lean of one half as an end-on photo shows it (joint to joint, as it is measured), (...) rad.

    For panels that stay parallel to the spine this is `Pose.lean`; a plane that nods as well shows it along
    its joints, which lie at different depths.
    """
    h = mechanism.half(half)
    panel = next((p for p in mechanism.panels if p.name == h.plane), None)
    bearing = bearing_joints(mechanism, panel) if panel is not None else ()
    if pose.nod is None or len(bearing) < 2 or h.page not in pose.turns:
        return pose.lean[half]
    turn = turn_of(pose.joints[bearing[-1]] - pose.joints[bearing[0]])
    sign = 1.0 if h.side == "right" else -1.0
    out: Array = np.arctan2(*(f(sign * (pose.turns[h.page] - turn)) for f in (np.sin, np.cos)))
    return out


def lean_rates(mechanism: Mechanism, lengths: Mapping[str, float], phi: float, half: str) -> dict[str, float]:
    """How the lean as seen changes with each length that governs it (rad/mm) and "opening" (rad/rad)."""
    names = governing_lengths(mechanism, half)
    rates = mechanism.rates(lengths, phi, lambda pose: seen_lean(mechanism, pose, half), names)
    return {k: float(v) for k, v in rates.items()}


def through_linkage(measured: Measured, spec: Spec, half: str) -> Quantity | None:
    """Lean of one half as the linkage has it for the measured lengths, rad; None if one is missing."""
    mechanism = spec.mechanism
    needed = governing_lengths(mechanism, half)
    if any(k not in measured.working for k in needed):
        return None
    values = {k: measured.working[k].value for k in needed}
    phi = measured.opening.value
    rates = lean_rates(mechanism, values, phi, half)
    lean = float(seen_lean(mechanism, mechanism.solve(values, phi), half))
    if not np.isfinite(lean):
        return None
    parts = [*(measured.working[k] for k in needed), measured.opening]
    return chain(lean, [*(rates[k] for k in needed), rates["opening"]], parts)
