"""Where card would have to pass through card, and at which opening a spread first jams.

A linkage of lines knows no contact: it assembles long after card has met card. So a spread closes only as
far as every panel stays above the page or plane it stands on and the two halves of a plane stay apart.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.arrays import Array
from compare.design.design_facts import Contact, Meeting
from compare.design.linkage.halving import halved
from compare.design.linkage.mechanism import SMALLEST_PHI, Half, Mechanism
from compare.design.linkage.pose import Pose, turn_of
from compare.design.linkage.steps import Cost
from compare.vocabulary import PAGES, Kind, named, parsed
from measure.sides import opposite

SLACK: Final = 1e-9  # rad: at exactly closed everything is flat
THIN: Final = 2e-3  # rad, 0.1 degree: thinner than any stack of card
GRID: Final = 1801
MANY_GRID: Final = 37  # for many dummies at once: steps of at most 5 degrees
HALVINGS: Final = 10  # of such a step: to 0.005 degrees
FEW_HALVINGS: Final = 5  # to 0.2 degrees, where each solution takes long
MANY_THIN: Final = np.radians(0.5)  # what binds below this is the thickness of the card


def floor_angles(mechanism: Mechanism, pose: Pose) -> dict[str, Array]:
    """Angle of every standing panel to the page or plane it stands on, rad (0 = flat on it, outwards)."""
    out: dict[str, Array] = {}
    for panel, floor in mechanism.floors.items():
        sign = 1.0 if parsed(floor).side == "right" else -1.0
        out[panel] = sign * (pose.turns[floor] - pose.turns[panel])
    return out


def _beside(half: Half) -> str:
    """Return the name of the other half of the same plane; "" if it can have none."""
    n = parsed(half.name)
    return n.mirrored if n.side == half.side else ""


def gaps(mechanism: Mechanism, pose: Pose) -> dict[Contact, Array]:
    """Angles that must stay above zero, by what would touch if they did not; nan = not assembled."""
    out = {
        Contact(Meeting.LIES_ON, k, mechanism.floors[k]): v for k, v in floor_angles(mechanism, pose).items()
    }
    by_name = {h.name: h for h in mechanism.halves}
    for half in by_name.values():
        other = by_name.get(_beside(half))
        if half.side == "right" and other is not None:
            what = Contact(Meeting.HALVES_MEET, half.plane, other.plane)
            out[what] = pose.turns[half.plane] - pose.turns[other.plane]
    if not mechanism.floors:  # a drawn linkage: whatever is not on a page must stay between the pages
        on_pages = {j for p in mechanism.panels if parsed(p.name).is_page for j in p.joints}
        for joint, xy in pose.joints.items():
            if joint not in on_pages:
                turn = turn_of(xy)
                left, right = PAGES
                out[Contact(Meeting.LIES_ON, joint, right)] = pose.turns[right] - turn
                out[Contact(Meeting.LIES_ON, joint, left)] = turn - pose.turns[left]
    for half in by_name.values():
        if _beside(half) not in by_name:
            sign = 1.0 if half.side == "right" else -1.0
            other_page = named(Kind.PAGE, opposite(half.side))
            # by reach, not by direction: a lone half may point at the other page and yet stay clear of it
            edge = next(p.joints[-1] for p in mechanism.panels if p.name == half.plane)
            away = sign * (turn_of(pose.joints[edge]) - pose.turns[other_page])
            out[Contact(Meeting.MEETS, half.plane, other_page)] = away
    return out


def jammed(mechanism: Mechanism, pose: Pose) -> NDArray[np.bool_]:
    """Where card would have to pass through card, or the mechanism does not assemble."""
    bad: NDArray[np.bool_] = np.zeros(pose.phi.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        for gap in gaps(mechanism, pose).values():
            bad = bad | ~(gap > -SLACK)
        for xy in pose.joints.values():
            bad = bad | ~np.isfinite(xy[..., 0])
    return bad


def binding_opening(mechanism: Mechanism, lengths: dict[str, ArrayLike] | None, phi: float) -> float:
    """Find the opening (rad) at which the spread, closed from `phi`, first jams; 0 if it closes.

    On a fine grid of openings, then by halving; closed forms for single faults are checked against it.
    """
    given = lengths or {}
    grid = np.linspace(SMALLEST_PHI, phi, GRID)
    bad = np.flatnonzero(jammed(mechanism, mechanism.solve(given, grid)))
    bad = bad[grid[bad] > THIN]
    if bad.size == 0:
        return 0.0
    last = int(bad[-1])
    if last == len(grid) - 1:
        return phi

    def jams(opening: float) -> bool:
        return bool(jammed(mechanism, mechanism.solve(given, np.array([opening])))[0])

    return halved(float(grid[last]), float(grid[last + 1]), jams)[1]


def is_quick(mechanism: Mechanism) -> bool:
    """Return whether every step of the linkage is a formula."""
    return all(step.cost is Cost.FORMULA for step in mechanism.steps)


def binding_openings(mechanism: Mechanism, lengths: Mapping[str, Array], phi: float) -> Array:
    """Return the openings (rad) at which each of n samples, closed from `phi`, first jams; 0 where it shuts.

    Parameters
    ----------
    lengths : name -> (n,) mm; what is missing is taken from the design.

    Returns
    -------
    (n,): found on a grid from open to shut, then by halving.
    """
    n = max((len(v) for v in lengths.values()), default=1)
    column = {k: v[:, None] for k, v in lengths.items()}
    grid = np.linspace(phi, SMALLEST_PHI, MANY_GRID)
    bad = jammed(mechanism, mechanism.solve(column, np.broadcast_to(grid, (n, len(grid)))))
    bad &= grid > MANY_THIN
    first = np.where(bad.any(axis=1), bad.argmax(axis=1), len(grid) - 1)
    low, high = grid[first], grid[np.maximum(first - 1, 0)]
    for _ in range(HALVINGS if is_quick(mechanism) else FEW_HALVINGS):
        middle = (low + high) / 2
        stuck = jammed(mechanism, mechanism.solve(lengths, middle))
        low, high = np.where(stuck, middle, low), np.where(stuck, high, middle)
    out: Array = np.where(bad.any(axis=1) | (high > MANY_THIN), high, 0.0)
    return out


def first_contact(mechanism: Mechanism, phi: float) -> Contact | None:
    """Return what touches what just below this opening; None if nothing can be told."""
    pose = mechanism.solve({}, np.array([max(phi - 1e-3, SMALLEST_PHI)]))
    with np.errstate(invalid="ignore"):
        for what, gap in gaps(mechanism, pose).items():
            if not gap[0] > -SLACK:
                return what if np.isfinite(gap[0]) else Contact(Meeting.APART)
    return None
