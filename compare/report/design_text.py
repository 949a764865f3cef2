"""A design looked at before anything is cut: its equalities, its sums, and how it moves."""

from typing import TextIO

import numpy as np
from rich.table import Table
from rich.text import Text

from compare.design.linkage import SIDES, binding_angle, closed_reach, closing_sums, solve
from compare.design.spec import Spec
from compare.report.terminal import console_for, table_of
from compare.units import Unit, unit_of

OPENINGS = (180, 150, 120, 90, 60, 30, 0)


def equalities(spec: Spec) -> list[tuple[str, float]]:
    """Differences that must be zero, mm, by name."""
    n = spec.lengths()
    out: list[tuple[str, float]] = []
    for s in spec.sides:
        out.append((f"leg = fold {s}", n[f"leg {s}"] - n[f"fold {s}"]))
        out.append((f"plane spacing = page spacing {s}", n[f"plane spacing {s}"] - n[f"page spacing {s}"]))
    sums = closing_sums(n)
    out += [(f"fold + plane spacing = page spacing + leg {s}", sums[s]) for s in spec.sides]
    out.append(("foot + fold, left = right", sums["feet"]))
    return out


def motion_table(spec: Spec, unit: Unit) -> Table:
    """Return the ridge's height and the lean of each half at several openings up to the stated one."""
    columns = [f"lean {s}, deg" for s in spec.sides]
    table = table_of("How it opens", "opening, deg", f"ridge, {unit.name}", *columns)
    openings = [spec.base.opening_deg, *(a for a in OPENINGS if a < spec.base.opening_deg)]
    for deg in openings:
        pose = solve(spec.lengths(), np.radians(deg))
        height = float(pose.joints["ridge"][1])
        if not np.isfinite(height):
            table.add_row(f"{deg:g}", *(["jams"] * (1 + len(spec.sides))))
            continue
        leans = [float(np.degrees(pose.lean[s])) for s in spec.sides]
        shown = [f"{round(v, 2) + 0.0:+.2f}" if np.isfinite(v) else "jams" for v in leans]
        table.add_row(f"{deg:g}", unit.number(height), *shown)
    return table


def print_design(spec: Spec, stream: TextIO) -> None:
    """Print what the design promises; the first line says whether it is sound."""
    console, unit = console_for(stream), unit_of(spec.units)
    name = spec.title or spec.source.name
    if spec.warnings:
        console.print(Text(f"{name}: {len(spec.warnings)} thing(s) to look at.", style="yellow"))
        for w in spec.warnings:
            console.print(Text(f"  - {w}"))
    else:
        console.print(Text(f"{name}: every matched pair agrees, it shuts flat and clear.", style="green"))
    console.print()
    pairs = table_of(f"Equalities, {unit.name}", "should be equal", "difference")
    for words, difference in equalities(spec):
        pairs.add_row(words, unit.signed(difference))
    console.print(pairs)
    console.print()
    console.print(motion_table(spec, unit))
    console.print()
    shut = table_of(f"Shut, {unit.name}", "side", "reach", "page", "clearance", "asked for")
    for s in SIDES:
        reach = float(closed_reach(spec.lengths(), s))
        page: float = getattr(spec.base, f"page_{s}")
        shut.add_row(
            s,
            unit.number(reach),
            unit.number(page),
            unit.signed(page - reach),
            unit.number(spec.tolerance.clearance),
        )
    console.print(shut)
    console.print()
    phi = float(np.degrees(binding_angle(spec.lengths(), np.radians(spec.base.opening_deg))))
    console.print(
        Text("It shuts without jamming." if phi == 0 else f"Closing, card first jams at {phi:.0f} degrees.")
    )
