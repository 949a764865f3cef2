"""Sampling plans for a lot, told with their risks."""

from dataclasses import dataclass
from typing import Any, TextIO

from rich.text import Text

from compare.lot.plans import plan_risks as risks
from compare.lot.plans import variable_plans as variables
from compare.lot.plans.attribute_plans import Plan, Severity, plan
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.words.lots.lot_words import percent

MULTIPLES = (0.5, 1.0, 2.0, 3.0, 5.0, 8.0)  # of the AQL, at which the chance of acceptance is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans:
    """Plans for one lot: by severity, and one by variables that does as well."""

    size: int
    aql: float
    by_severity: dict[Severity, Plan]
    by_variables: variables.VariablesPlan | None


def plans(size: int, aql: float, level: str) -> Plans:
    """Return the plans for a lot; LotError for a size, AQL or level that the tables do not have."""
    kinds: tuple[Severity, ...] = ("normal", "tightened", "reduced")
    found: dict[Severity, Plan] = {severity: plan(size, aql, level, severity) for severity in kinds}
    normal, by = found["normal"], None
    if not normal.whole_lot:
        r = risks.risks(normal.n, normal.reject - 1, normal.aql)
        by = variables.smallest_plan(r.good_share, 0.05, r.consumer_share, 0.10)
    return Plans(size=size, aql=normal.aql, by_severity=found, by_variables=by)


def _chances(p: Plan, aql: float) -> list[tuple[float, float]]:
    shares = [min(m * aql / 100, 1.0) for m in MULTIPLES]
    return [(s, float(risks.chance_of_acceptance(p.n, p.reject - 1, s))) for s in dict.fromkeys(shares)]


def plans_dict(found: Plans) -> dict[str, Any]:
    """Return the plans as plain dicts."""
    out: dict[str, Any] = {"size": found.size, "aql": found.aql, "plans": {}}
    for severity, p in found.by_severity.items():
        r = risks.risks(p.n, p.reject - 1, p.aql)
        out["plans"][severity] = {
            "n": p.n,
            "accept": p.accept,
            "reject": p.reject,
            "letter": p.letter,
            "whole_lot": p.whole_lot,
            "producer": round(r.producer, 6),
            "consumer_share": None if p.whole_lot else round(r.consumer_share, 6),
            "chance_of_acceptance": [[round(s, 6), round(c, 6)] for s, c in _chances(p, p.aql)],
        }
    by = found.by_variables
    out["by_variables"] = None if by is None else {"n": by.n, "k": round(by.k, 4)}
    return out


def print_plans(found: Plans, stream: TextIO) -> None:
    """Print the plans; the first line is what to do."""
    console = console_for(stream)
    normal = found.by_severity["normal"]
    if normal.whole_lot:
        console.print(Text(f"Photograph all {found.size}: the plan wants {normal.n} or more.", style="bold"))
    else:
        bear = (
            "if none does not conform" if normal.accept == 0 else f"with up to {normal.accept} nonconforming"
        )
        console.print(
            Text(
                f"Photograph {normal.n} of {found.size}, taken at random: accept the lot {bear}, "
                f"refuse it from {normal.reject} on.",
                style="bold",
            )
        )
    console.print(
        Text(f"Single sampling plans of MIL-STD-105E (1989), AQL {found.aql:g} %, letter {normal.letter}.")
    )
    console.print()
    table = table_of(
        "Plans", "inspection", "n", "accept", "refuse", "good lot refused", "accepted once in ten"
    )
    for severity, p in found.by_severity.items():
        r = risks.risks(p.n, p.reject - 1, p.aql)
        table.add_row(
            severity,
            str(p.n),
            str(p.accept),
            str(p.reject),
            "-" if p.whole_lot else percent(r.producer),
            "-" if p.whole_lot else f"{percent(r.consumer_share)} bad",
        )
    console.print(table)
    console.print(Text("  good lot: exactly at the AQL", style="dim"))
    if found.by_severity["reduced"].reject > found.by_severity["reduced"].accept + 1:
        console.print(Text("  reduced: between accept and refuse, accept and go back to normal", style="dim"))
    console.print()
    if not normal.whole_lot:
        curve = table_of("Chance that a lot is accepted, normal inspection", "nonconforming", "accepted")
        for share, chance in _chances(normal, found.aql):
            curve.add_row(percent(share), percent(chance))
        console.print(curve)
        console.print()
    if found.by_variables is not None:
        by = found.by_variables
        console.print(
            Text(
                f"By variables, for one length that is normally distributed and does not drift, {by.n} "
                "samples are as sharp: accept if its mean keeps "
                f"{by.k:.2f} standard deviations from each limit."
            )
        )
    console.print(
        Text(
            "Start with normal inspection; 2 of 5 lots in a row not accepted: tightened; 5 in a row accepted "
            "again: normal. `foldgauge lot` keeps count in the ledger."
        )
    )
