"""What the ledger knows over many lots, read quickly."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, case, func, select

from compare.errors import LotError
from compare.lot.drift import Course, course
from compare.lot.ledger import TABLES, Ledger
from compare.lot.schema import DECISION, INSPECTION, READING

Array = NDArray[np.float64]


LOTS_FOR_COURSE: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLine:
    """One lot of the ledger: samples by outcome, first and last check, decision ("" if none)."""

    lot: str
    spec: str
    samples: int
    conforming: int
    failing: int
    open: int
    refused: int
    first: str
    last: str
    decision: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Series:
    """One thing measured over many lots, in the order the samples were made.

    Attributes
    ----------
    lots : name of the lot of each value; samples : of the sample. values : (n,) deviations.
    lot_names, means, sds, counts : per lot, in the order of their first sample.
    course : of the means of the lots if there are eight or more (`by_lot`), else of the values.
    """

    name: str
    unit: str
    low: float
    high: float
    lots: Sequence[str]
    samples: Sequence[str]
    values: Array
    lot_names: tuple[str, ...]
    means: Array
    sds: Array
    counts: Array
    course: Course

    @property
    def by_lot(self) -> bool:
        """True if there are lots enough to look at their means instead of single samples."""
        return len(self.lot_names) >= LOTS_FOR_COURSE


def _of_spec(query: Select[Any], spec: str | None) -> Select[Any]:
    return query if spec is None else query.where(INSPECTION.c.spec == spec)


def lots(ledger: Ledger, spec: str | None = None) -> tuple[LotLine, ...]:
    """Return the lots in the ledger, oldest first; only those of one spec file if it is named."""
    c = INSPECTION.c

    def counted(condition: Any) -> Any:
        return func.sum(case((condition, 1), else_=0))

    query = _of_spec(
        select(
            c.lot,
            c.spec,
            c.spec_sha256,
            func.count(),
            counted(c.verdict == "conforms"),
            counted(c.verdict == "does not conform"),
            counted(c.verdict == "too close to call"),
            counted(c.status == "refused"),
            func.min(c.checked_at),
            func.max(c.checked_at),
        )
        .group_by(c.lot, c.spec, c.spec_sha256)
        .order_by(func.min(c.id)),
        spec,
    )
    with ledger.reading() as connection:
        decided = {
            (r.lot, r.spec_sha256): "accepted" if r.accepted else "not accepted"
            for r in connection.execute(select(DECISION.c.lot, DECISION.c.spec_sha256, DECISION.c.accepted))
        }
        return tuple(
            LotLine(
                lot=r[0],
                spec=r[1],
                samples=r[3],
                conforming=r[4],
                failing=r[5],
                open=r[6],
                refused=r[7],
                first=r[8],
                last=r[9],
                decision=decided.get((r[0], r[2]), ""),
            )
            for r in connection.execute(query)
        )


def names(ledger: Ledger, spec: str | None = None) -> tuple[tuple[str, str], ...]:
    """Return (kind, name) of everything measured on the newest inspection."""
    newest = _of_spec(
        select(func.max(INSPECTION.c.id)).where(INSPECTION.c.status == "checked"), spec
    ).scalar_subquery()
    query = select(READING.c.kind, READING.c.name).where(READING.c.inspection_id == newest)
    with ledger.reading() as connection:
        found = [(r[0], r[1]) for r in connection.execute(query)]
    order = list(TABLES)
    return tuple(sorted(found, key=lambda x: order.index(x[0])))  # within a kind as the ledger has them


LIMITLESS: Final = float("inf")


def series(ledger: Ledger, name: str, rng: np.random.Generator, spec: str | None = None) -> Series:
    """Return the history of one thing measured.

    Parameters
    ----------
    name : as in the report, "leg left". rng : for the shuffles behind "drifts". spec : name of a spec file.

    Raises
    ------
    LotError : the ledger holds nothing of that name.
    """
    i, r = INSPECTION.c, READING.c
    query = _of_spec(
        select(i.lot, i.sample, i.place, i.id, r.kind, r.low, r.high, r.measured - r.nominal)
        .join(INSPECTION, i.id == r.inspection_id)
        .where(r.name == name, r.measured.is_not(None), r.nominal.is_not(None)),
        spec,
    )
    with ledger.reading() as connection:
        rows = [tuple(row) for row in connection.execute(query)]
    if not rows:
        known = ", ".join(n for _, n in names(ledger, spec)) or "nothing"
        raise LotError(f"--length: the ledger holds no {name!r} (it holds: {known})")
    lot_of, sample_of, places, ids, _, lows, highs, deviations = zip(*rows, strict=True)
    first_id: dict[str, int] = {}
    for lot, number in zip(lot_of, ids, strict=True):
        first_id[lot] = min(number, first_id.get(lot, number))
    ordered = sorted(first_id, key=first_id.__getitem__)
    rank = {lot: k for k, lot in enumerate(ordered)}
    code = np.array([rank[lot] for lot in lot_of])
    order = np.lexsort((np.array(ids), np.array(places), code))
    values, code = np.array(deviations, dtype=float)[order], code[order]
    counts = np.bincount(code).astype(float)
    means = np.bincount(code, values) / counts
    squares = np.bincount(code, (values - means[code]) ** 2)
    with_spread = np.where(counts > 1, squares / np.maximum(counts - 1, 1), np.nan)
    last = int(np.argmax(ids))  # limits of the newest inspection
    return Series(
        name=name,
        unit="degrees" if rows[0][4] == "lean" else "mm",
        low=-LIMITLESS if lows[last] is None else float(lows[last]),
        high=LIMITLESS if highs[last] is None else float(highs[last]),
        lots=[lot_of[k] for k in order],
        samples=[sample_of[k] for k in order],
        values=values,
        lot_names=tuple(ordered),
        means=means,
        sds=np.sqrt(with_spread),
        counts=counts,
        course=course(means if len(means) >= LOTS_FOR_COURSE else values, rng),
    )
