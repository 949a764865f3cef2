"""The same spread solved by general-purpose packages: a planar linkage package, and scipy's least squares.

The left page is the ground, the right page the crank; tent and half plane are a circle-circle dyad each. Both
return the right half in our frame (spine at the origin, y along the bisector of the pages).
"""

from collections.abc import Mapping

import numpy as np

from capture.arrays import Array

NAMES = ("ridge", "leg top right")


def _to_bisector(xy: Array, phi: Array) -> Array:
    """Turn points (n, 2) of a frame with the left page along -x into ours, for openings phi (n,)."""
    turn = -(np.pi - phi) / 2
    c, s = np.cos(turn), np.sin(turn)
    return np.stack([c * xy[:, 0] - s * xy[:, 1], s * xy[:, 0] + c * xy[:, 1]], axis=1)


def by_linkage_package(n: Mapping[str, float], degrees: Array) -> dict[str, Array]:
    """Ridge and right leg top at these openings (equal steps), by pylinkage (PyPI, 1.3)."""
    from pylinkage.actuators import Crank
    from pylinkage.components import Ground
    from pylinkage.dyads import RRRDyad
    from pylinkage.simulation import Linkage

    phi = np.radians(degrees)
    step = float(phi[1] - phi[0])
    # the right page starts at pi - phi above +x; the first position that is read is one step on
    start = np.pi - float(phi[0]) + step
    spine, foot = Ground(0.0, 0.0, name="spine"), Ground(-n["foot left"], 0.0, name="foot left")
    inner = Crank(
        anchor=spine, radius=n["foot right"], angular_velocity=-step, initial_angle=start, name="inner"
    )
    far = n["foot right"] + n["page spacing right"]
    outer = Crank(anchor=spine, radius=far, angular_velocity=-step, initial_angle=start, name="outer")
    ridge = RRRDyad(
        anchor1=inner.output,
        anchor2=foot,
        distance1=n["fold right"],
        distance2=n["fold left"],
        x=0.0,
        y=n["fold right"],
        name="ridge",
    )
    top = RRRDyad(
        anchor1=outer.output,
        anchor2=ridge,
        distance1=n["leg right"],
        distance2=n["plane spacing right"],
        x=n["plane spacing right"],
        y=n["leg right"],
        name="top",
    )
    linkage = Linkage([spine, foot, inner, outer, ridge, top], name="right half")
    index = {c.name: i for i, c in enumerate(linkage.components)}
    rows = list(linkage.step(iterations=len(degrees), dt=1))
    out = {}
    for name, key in zip(NAMES, ("ridge", "top"), strict=True):
        out[name] = _to_bisector(np.array([r[index[key]] for r in rows], dtype=float), phi)
    return out


def by_least_squares(n: Mapping[str, float], degrees: Array) -> dict[str, Array]:
    """Ridge and right leg top at these openings by `scipy.optimize.least_squares`, each from the last."""
    from scipy.optimize import least_squares

    out: dict[str, list[Array]] = {k: [] for k in NAMES}
    x = np.array([0.0, n["fold right"], n["plane spacing right"], n["leg right"]])
    for phi in np.radians(degrees):
        u = np.array([np.sin(phi / 2), np.cos(phi / 2)])
        v = np.array([-u[0], u[1]])
        right, left = n["foot right"] * u, n["foot left"] * v
        far = (n["foot right"] + n["page spacing right"]) * u

        def off(x: Array, right: Array = right, left: Array = left, far: Array = far) -> Array:
            r, t = x[:2], x[2:]
            return np.array(
                [
                    np.hypot(*(r - right)) - n["fold right"],
                    np.hypot(*(r - left)) - n["fold left"],
                    np.hypot(*(t - far)) - n["leg right"],
                    np.hypot(*(t - r)) - n["plane spacing right"],
                ]
            )

        x = least_squares(off, x, xtol=1e-12, ftol=1e-12, gtol=1e-12).x
        out["ridge"].append(x[:2])
        out["leg top right"].append(x[2:])
    return {k: np.array(v) for k, v in out.items()}
