"""What a design does that its author may not want: sums, leans, legs that disagree, reach when shut."""

from typing import Final

import numpy as np

from compare.design.design_facts import Fact, Jams, Leaning, LittleRoomShut, Unclosed
from compare.design.spec.spec import Spec
from compare.design.study.contact import binding_opening, first_contact
from compare.vocabulary import Kind, parsed
from measure.sides import SIDES

CLOSING_SLACK: Final = 0.05  # mm; a spec is written to a tenth at best, so less is rounding of the drawing
LEAN_WORTH_SAYING: Final = 0.05  # degrees
ROUNDED_PHI: Final = np.radians(5.0)  # a rounded drawing binds so early that no stack of card notices


def unclosed_loops(spec: Spec) -> tuple[Unclosed, ...]:
    """Return the loops whose two sums differ."""
    mechanism = spec.mechanism
    n = mechanism.lengths
    out = []
    for loop in mechanism.loops:
        if abs(loop.error(n)) > CLOSING_SLACK:
            one, other = loop.sums(n)
            out.append(
                Unclosed(loop=loop, one=one, other=other, in_degrees=set(loop.one) <= mechanism.degrees)
            )
    return tuple(out)


def shut_reach(spec: Spec, side: str) -> float:
    """How far card reaches from the spine towards a fore edge when shut, mm; nan if it cannot be told.

    From the chains of lengths that lie stretched then; a linkage without such chains is moved there.
    """
    mechanism = spec.mechanism
    n = mechanism.lengths
    sums = [float(r.total(n)) for r in mechanism.reaches if r.side == side]
    if sums:
        return max(sums)
    pose = mechanism.solve({}, np.array([2e-3]))
    far = [float(xy[0, 1]) for name, xy in pose.joints.items() if parsed(name).kind != Kind.FORE_EDGE]
    return float(np.max(far))  # nan if any of it cannot be laid


def warnings_of(spec: Spec) -> tuple[Fact, ...]:
    """Return what the design will do that its author may not want."""
    mechanism = spec.mechanism
    unclosed = unclosed_loops(spec)
    out: list[Fact] = [*unclosed]
    pose = mechanism.solve({}, spec.opening)
    oblique = spec.building.oblique_halves()
    for half in mechanism.halves:
        lean = float(np.degrees(pose.lean[half.name]))
        if abs(lean) > LEAN_WORTH_SAYING and half.name not in oblique:
            out.append(Leaning(half=half.name, lean_deg=lean, opening_deg=spec.base.opening_deg))
    out += spec.building.disagreeing_legs(spec)
    for side in SIDES:
        spare = spec.base.page(side) - shut_reach(spec, side)
        if spare < spec.tolerance.clearance:
            out.append(LittleRoomShut(side=side, spare_mm=spare))
    phi = binding_opening(mechanism, None, spec.opening)
    if phi > (0.0 if unclosed else ROUNDED_PHI):
        out.append(Jams(opening_deg=float(np.degrees(phi)), contact=first_contact(mechanism, phi)))
    return tuple(out)
