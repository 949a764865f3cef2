"""The movement as photographed at several openings, in sentences."""

import math
from collections.abc import Sequence
from typing import Final

from compare.cause.binding import Binding
from compare.motion_seen.openings_seen import LeanSeen, MotionSeen, OpeningSeen
from compare.verdict.conformity import COVERAGE

SHUTS_DEG: Final = 0.5  # what binds later shuts
STRANGE: Final = 2.5  # a residual of more standard uncertainties is told

Place = tuple[OpeningSeen, LeanSeen]


def motion_sentences(motion: MotionSeen, level_deg: float, binding: Binding | None) -> list[str]:
    """Return what the photos together show: where it leans and where not, where it binds, what does not fit.

    Parameters
    ----------
    level_deg : how far a half may lean off its design.
    binding : where the lengths of all photos bind.
    """
    out: list[str] = []
    halves = dict.fromkeys(n.half for o in motion.openings for n in o.leans)
    places = [(o, n) for o in motion.openings for n in o.leans]
    for half in halves:
        out += _lean_of([p for p in places if p[1].half == half], level_deg)
    if not out and places:
        worst = max(abs(n.off_deg) for _, n in places)
        shown = max(math.ceil(worst * 10 - 1e-9), 1) / 10
        out.append(
            f"As designed within {shown:.1f} degrees at every opening photographed: {_openings(motion)}."
        )
    if binding is not None:
        out.append(_binds(motion, binding))
    out += _strange(motion)
    return out


def _lean_of(places: Sequence[Place], level_deg: float) -> list[str]:
    """Say at which opening a half leans, and at which it does not; nothing if it leans nowhere for sure."""
    leaning = [p for p in places if abs(p[1].off_deg) - COVERAGE * p[1].seen_u_deg > level_deg]
    if not leaning:
        return []
    at, worst = max(leaning, key=lambda p: abs(p[1].off_deg))
    text = (
        f"At {at.opening_deg:.0f} degrees the {worst.half} half leans {_signed(worst.seen_deg)} degrees "
        f"(±{COVERAGE * worst.seen_u_deg:.1f}{_designed(worst)})"
    )
    level = [p for p in places if abs(p[1].off_deg) <= level_deg]
    if level:
        fine, best = min(level, key=lambda p: abs(p[1].off_deg))
        text += f", although it lies level at {fine.opening_deg:.0f} ({_signed(best.seen_deg)})"
    elif len(leaning) > 1:
        others = ", ".join(f"{_signed(n.seen_deg)} at {o.opening_deg:.0f}" for o, n in leaning if o is not at)
        text += f"; {others}"
    return [f"{text}."]


def _designed(lean: LeanSeen) -> str:
    return f"; designed {_signed(lean.design_deg)}" if abs(lean.design_deg) > 0.05 else ""


def _binds(motion: MotionSeen, binding: Binding) -> str:
    if binding.phi_deg < SHUTS_DEG:
        return f"By the lengths of all photos ({_openings(motion)}) it shuts without binding."
    return (
        f"By the lengths of all photos ({_openings(motion)}) it binds at about {binding.phi_deg:.0f} degrees "
        f"(likely {binding.low_deg:.0f} to {binding.high_deg:.0f})."
    )


def _strange(motion: MotionSeen) -> list[str]:
    """Say which photos the common lengths do not explain."""
    out = []
    for opening in motion.openings:
        for n in opening.leans:
            if math.isfinite(n.rest_deg) and abs(n.rest_deg) > max(STRANGE * n.rest_u_deg, 0.5):
                out.append(
                    f"{', '.join(opening.photos)}: {abs(n.rest_deg):.1f} degrees of the {n.half} half's lean "
                    "is not that of one dummy with common lengths: card is bent there, or the photo misread."
                )
    return out


def _openings(motion: MotionSeen) -> str:
    shown = [f"{o.opening_deg:.0f}" for o in motion.openings]
    return f"{', '.join(shown[:-1])} and {shown[-1]} degrees"


def _signed(deg: float) -> str:
    return f"{round(deg, 1) + 0.0:+.1f}"
