"""Uncertainty budgets of all lengths and leans of an inspected dummy."""

from typing import TYPE_CHECKING, Any

import numpy as np

from compare.quantities.measured import Measured
from compare.quantities.quantity import Quantity
from compare.vocabulary import Told, told_of
from measure.joints.error_budget import Budget, budget_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from compare.jobs.check_dummy import Inspection


def source_sizes(standoff_err_mm: float, near_end_sd_mm: float) -> dict[str, float]:
    """Return the size (mm, one sigma) of those sources of a profile that are a number of their own."""
    return {"standoff": standoff_err_mm, "near ends": near_end_sd_mm}


def budgets_of(measured: Measured, sizes_mm: "Mapping[str, float]") -> tuple[Budget, ...]:
    """Return one budget per measured length (mm), then per lean (degrees)."""
    by_source = measured.inputs.by_source
    out = [
        budget_of(name, q.value, q.gradient, by_source, sizes_mm=sizes_mm)
        for name, q in measured.lengths.items()
    ]
    for side, q in measured.lean.items():
        deg: Quantity = q * float(np.degrees(1.0))
        out.append(
            budget_of(
                told_of(Told.LEAN, side), deg.value, deg.gradient, by_source, sizes_mm=sizes_mm, unit="deg"
            )
        )
    return tuple(out)


def inspection_budgets(inspection: "Inspection") -> tuple[Budget, ...]:
    """Return the budgets behind the tables of an inspection."""
    sizes = source_sizes(inspection.placing.standoff_err_mm, inspection.spec.card.near_end_spread)
    return budgets_of(inspection.findings.measured, sizes)


def budgets_dict(budgets: tuple[Budget, ...]) -> dict[str, Any]:
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
