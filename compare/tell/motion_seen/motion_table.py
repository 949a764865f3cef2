"""The movement as photographed, as a table and as JSON: per opening what was seen, fitted, designed."""

import math
from typing import Any, TextIO

from rich.text import Text

from compare.motion_seen.openings_seen import MotionSeen, OpeningSeen
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.words.photos.motion_words import motion_sentences
from compare.units import Unit, unit_of
from compare.verdict.conformity import COVERAGE
from compare.verdict.findings import Findings


def print_motion(motion: MotionSeen, findings: Findings, stream: TextIO) -> None:
    """Print what the photos at several openings show together."""
    console = console_for(stream)
    console.print(Text("The movement as photographed", style="bold"))
    for line in motion_sentences(motion, findings.spec.tolerance.level_deg, findings.binding):
        console.print(Text(f"  {line}"))
    table = table_of(
        "Lean, degrees", "opening", "half", "seen", "±U", "all photos together", "design", "rest", "±U"
    )
    for opening in motion.openings:
        for n in opening.leans:
            table.add_row(
                f"{opening.opening_deg:.0f}",
                n.half,
                _signed(n.seen_deg),
                f"{COVERAGE * n.seen_u_deg:.2f}",
                _signed(n.fitted_deg),
                _signed(n.design_deg),
                _signed(n.rest_deg),
                _known(COVERAGE * n.rest_u_deg),
            )
    console.print(table)
    for opening in motion.openings:
        console.print(Text(f"  {_rest_line(opening, unit_of(findings.spec.units))}", style="dim"))
    console.print()


def _rest_line(opening: OpeningSeen, unit: Unit) -> str:
    """Say how well the lengths of one opening fit those of all."""
    worst = opening.worst
    names = ", ".join(opening.photos)
    if worst is None:
        return f"{names} ({opening.opening_deg:.0f} degrees): no length to compare"
    return (
        f"{names} ({opening.opening_deg:.0f} degrees): farthest from all photos together is {worst.name}, "
        f"{unit.signed(worst.rest_mm)} {unit.name} (±{unit.number(COVERAGE * worst.u_mm)})"
    )


def motion_dict(motion: MotionSeen, findings: Findings) -> dict[str, Any]:
    """Return the movement as plain dicts and lists; degrees and mm, U with k = 2."""
    return {
        "sentences": motion_sentences(motion, findings.spec.tolerance.level_deg, findings.binding),
        "openings": [
            {
                "photos": list(o.photos),
                "opening": round(o.opening_deg, 3),
                "lean": {
                    n.half: {
                        "seen": _number(n.seen_deg),
                        "U": _number(COVERAGE * n.seen_u_deg),
                        "fitted": _number(n.fitted_deg),
                        "fitted_U": _number(COVERAGE * n.fitted_u_deg),
                        "design": _number(n.design_deg),
                        "rest": _number(n.rest_deg),
                        "rest_U": _number(COVERAGE * n.rest_u_deg),
                    }
                    for n in o.leans
                },
                "rest_mm": {
                    r.name: {"rest": _number(r.rest_mm), "U": _number(COVERAGE * r.u_mm)} for r in o.lengths
                },
            }
            for o in motion.openings
        ],
    }


def _number(x: float) -> float | None:
    return round(float(x), 6) + 0.0 if math.isfinite(x) else None


def _signed(x: float) -> str:
    return f"{round(x, 2) + 0.0:+.2f}" if math.isfinite(x) else "-"


def _known(x: float) -> str:
    return f"{x:.2f}" if math.isfinite(x) else "-"
