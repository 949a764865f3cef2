"""Uncertainty budgets of all lengths and leans of an inspected dummy."""

from collections.abc import Mapping

import numpy as np

from compare.quantities.measured import Measured
from compare.quantities.quantity import Quantity
from compare.vocabulary import Told, told_of
from measure.joints.error_budget import Budget, budget_of


def source_sizes(standoff_err_mm: float, near_end_sd_mm: float) -> dict[str, float]:
    """Return the size (mm, one sigma) of those sources of a profile that are a number of their own."""
    return {"standoff": standoff_err_mm, "near ends": near_end_sd_mm}


def budgets_of(measured: Measured, sizes_mm: Mapping[str, float]) -> tuple[Budget, ...]:
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
