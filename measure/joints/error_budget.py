"""The uncertainty budget of one measured quantity, in the manner of the GUM's example tables.

JCGM 100:2008 "GUM": law of propagation with correlated inputs (5.2.2 eq. 13), sensitivity coefficients
(5.1.3), expanded uncertainty (6.2.1), a budget as a table (Table H.1). The sources here are independent of
each other; within a source, what it does to all joints is correlated and enters as a whole covariance matrix.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array

COVERAGE = 2.0  # k


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """What one source of uncertainty contributes to a quantity.

    Attributes
    ----------
    source : in plain words.
    u_input : standard uncertainty of the source itself, mm: of its one number where it has one (the standoff,
        the place of a near end), else of one joint's coordinate.
    sensitivity : what 1 mm of it makes in the quantity (its unit per mm).
    u : standard uncertainty it makes in the quantity, sensitivity times u_input.
    share : part of the quantity's variance, 0 to 1; the shares of a budget add up to 1.
    """

    source: str
    u_input: float
    sensitivity: float
    u: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The budget of one quantity: its value, combined and expanded uncertainty, and the lines behind them.

    Attributes
    ----------
    name, value, unit : the quantity; `unit` is "mm" or "deg".
    u, expanded : combined standard uncertainty, and U = k u.
    lines : sources that contribute, the largest first.
    """

    name: str
    value: float
    unit: str
    u: float
    expanded: float
    lines: tuple[BudgetLine, ...]


def budget_of(
    name: str,
    value: float,
    gradient: Array,
    cov_by_source: Mapping[str, Array],
    *,
    sizes_mm: Mapping[str, float] | None = None,
    unit: str = "mm",
) -> Budget:
    """Return the budget of a quantity with that gradient on all inputs.

    Parameters
    ----------
    value : the quantity, in `unit`.
    gradient : (n,) its derivatives by the inputs (coordinates of the joints, mm), in `unit` per mm.
    cov_by_source : source -> (n, n) covariance of the inputs, mm^2; sources are independent of each other.
    sizes_mm : standard uncertainty of those sources that are one number (or several of the same kind), mm.
    unit : "mm" or "deg".

    Returns
    -------
    Budget; sources that contribute nothing are left out.
    """
    sizes = sizes_mm or {}
    norm = float(np.sqrt(gradient @ gradient))
    parts = {s: float(np.sqrt(max(float(gradient @ c @ gradient), 0.0))) for s, c in cov_by_source.items()}
    total = float(np.sqrt(sum(p * p for p in parts.values())))
    lines: list[BudgetLine] = []
    for source, part in sorted(parts.items(), key=lambda item: -item[1]):
        if part <= 1e-9 * total or part == 0.0:
            continue
        size = sizes.get(source, 0.0)
        sensitivity = part / size if size > 0 else norm
        lines.append(
            BudgetLine(
                source=source,
                u_input=part / sensitivity,
                sensitivity=sensitivity,
                u=part,
                share=(part / total) ** 2,
            )
        )
    return Budget(name=name, value=value, unit=unit, u=total, expanded=COVERAGE * total, lines=tuple(lines))
