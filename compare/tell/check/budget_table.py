"""The uncertainty budget: as a table on a terminal, one block of lines per length, and as JSON."""

from collections.abc import Sequence
from typing import Any, TextIO

from rich.text import Text

from compare.tell.check.check_terminal import console_for, table_of
from measure.joints.error_budget import Budget

LEGEND = (
    "  u: standard uncertainty of the source (mm; of one joint where the source has no number of its own); "
    "sensitivity: what 1 mm of it makes; makes: u times sensitivity; share: of the variance. U = 2 u."
)


def print_budgets(budgets: Sequence[Budget], stream: TextIO) -> None:
    """Print the budgets: source, u, sensitivity, what it makes, share; the sum under each block."""
    console = console_for(stream)
    table = table_of(
        "Uncertainty budget (mm; leans in degrees)", "length", "source", "u", "sensitivity", "makes", "share"
    )
    for b in budgets:
        for i, line in enumerate(b.lines):
            table.add_row(
                b.name if i == 0 else "",
                line.source,
                f"{line.u_input:.3f}",
                f"{line.sensitivity:.3f}",
                f"{line.u:.3f}",
                f"{100 * line.share:.0f} %",
            )
        table.add_row(
            "", f"= {b.value:.2f} ±{b.expanded:.2f} (U)", "", "", f"{b.u:.3f}", "", end_section=True
        )
    table.columns[1].justify = "left"
    console.print(table)
    console.print()
    console.print(Text(LEGEND, style="dim"))
    console.print()


def budgets_dict(budgets: Sequence[Budget]) -> dict[str, Any]:
    """Return budgets for JSON: {name: {value, unit, u, U, sources: [{source, u_input_mm, ...}]}}."""
    return {
        b.name: {
            "value": round(b.value, 6),
            "unit": b.unit,
            "u": round(b.u, 6),
            "U": round(b.expanded, 6),
            "sources": [
                {
                    "source": line.source,
                    "u_input_mm": round(line.u_input, 6),
                    "sensitivity": round(line.sensitivity, 6),
                    "u": round(line.u, 6),
                    "share": round(line.share, 6),
                }
                for line in b.lines
            ],
        }
        for b in budgets
    }
