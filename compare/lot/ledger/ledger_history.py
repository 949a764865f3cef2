"""What the ledger knows over many lots, read quickly."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from sqlalchemy import Select, case, func, select

from capture.arrays import Array
from compare.compare_errors import LotError, LotOption
from compare.lot.charts.drift import SURE, Course, base_of, course, shuffles_of
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_entry import TABLES
from compare.lot.ledger.ledger_tables import DECISION, INSPECTION, READING
from compare.lot.run.samples import own_part
from compare.lot.study.repeatability import weights_of

LOTS_FOR_COURSE: Final = 8
LONGEST: Final = 100  # lots of a history; more are averaged


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
    lot_names, means, sds, counts : per lot, in the order of their first sample.
    extent : smallest and largest deviation.
    lots, samples, values : of every sample, lot by lot; empty where there are lots enough (`by_lot`).
    course : of the means of the lots if there are enough, else of the values.
    """

    name: str
    unit: str
    low: float
    high: float
    lot_names: tuple[str, ...]
    means: Array
    sds: Array
    counts: Array
    extent: tuple[float, float]
    lots: tuple[str, ...]
    samples: tuple[str, ...]
    values: Array
    course: Course

    @property
    def by_lot(self) -> bool:
        """True if there are lots enough to look at their means instead of single samples."""
        return len(self.lot_names) >= LOTS_FOR_COURSE

    @property
    def total(self) -> int:
        """Number of samples."""
        return int(self.counts.sum())


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


def _limits(ledger: Ledger, spec: str | None) -> dict[str, tuple[str, float, float]]:
    """Return kind and limits of everything measured, as the newest inspection that holds it has them."""
    i, r = INSPECTION.c, READING.c
    newest = _of_spec(
        select(r.name, func.max(r.inspection_id).label("id")).join(INSPECTION, i.id == r.inspection_id), spec
    ).group_by(r.name)
    last = newest.subquery()
    query = select(r.name, r.kind, r.low, r.high).join(
        last, (last.c.name == r.name) & (last.c.id == r.inspection_id)
    )
    with ledger.reading() as connection:
        return {
            name: (kind, -math.inf if low is None else low, math.inf if high is None else high)
            for name, kind, low, high in connection.execute(query)
        }


def _unknown(name: str, known: Iterable[str]) -> LotError:
    return LotError(
        LotOption.LENGTH, f": the ledger holds no {name!r} (it holds: {', '.join(known) or 'nothing'})"
    )


def all_series(
    ledger: Ledger, rng: np.random.Generator, spec: str | None = None, only: str | None = None
) -> tuple[Series, ...]:
    """Return the history of everything measured, or of one thing only; lengths first.

    Parameters
    ----------
    rng : for the shuffles behind "drifts". spec : name of a spec file. only : name as in the report.

    Raises
    ------
    LotError : the ledger holds nothing of that name.
    """
    limits = _limits(ledger, spec)
    looked_at = max(len(limits), 1)
    if only is not None:
        if only not in limits:
            raise _unknown(only, limits)
        limits = {only: limits[only]}
    i = INSPECTION.c
    order = _of_spec(select(i.lot, func.min(i.id)), spec).where(i.status == "checked").group_by(i.lot)
    with ledger.reading() as connection:
        first = sorted((number, lot) for lot, number in connection.execute(order))
    ordered = {lot: k for k, (_, lot) in enumerate(first)}
    read = _by_lot if len(ordered) >= LOTS_FOR_COURSE else _by_sample
    found = read(ledger, _Judging(base_of(rng), looked_at), spec, only, ordered, limits)
    kinds = list(TABLES)
    return tuple(sorted(found, key=lambda s: kinds.index(limits[s.name][0])))


@dataclass(frozen=True, slots=True)
class _Judging:
    """How courses are judged: as in the lots themselves (same chance, shared among as many lengths)."""

    base: int
    looked_at: int

    def course(self, name: str, values: Array, **options: Any) -> Course:
        return course(values, shuffles_of(self.base, name), sure=SURE / self.looked_at, **options)


def _by_lot(
    ledger: Ledger,
    judging: _Judging,
    spec: str | None,
    only: str | None,
    ordered: Mapping[str, int],
    limits: Mapping[str, tuple[str, float, float]],
) -> list[Series]:
    """Let the database group: no sample leaves it."""
    i, r = INSPECTION.c, READING.c
    d = r.measured - r.nominal
    query = _of_spec(
        select(r.name, i.lot, func.count(d), func.avg(d), func.avg(d * d), func.min(d), func.max(d)),
        spec,
    ).join(INSPECTION, i.id == r.inspection_id)
    query = query.where(d.is_not(None)).group_by(r.name, i.lot)
    if only is not None:
        query = query.where(r.name == only)
    tables: dict[str, list[tuple[int, float, float, float, float, float]]] = {}
    with ledger.reading() as connection:
        for name, lot, *numbers in connection.execute(query):
            tables.setdefault(name, []).append((ordered[lot], *map(float, numbers)))  # type: ignore[arg-type]
    lot_names = list(ordered)
    out: list[Series] = []
    for name, rows in tables.items():
        rows.sort()
        at, counts, means, squares, low, high = np.array(rows).T
        spread = np.maximum(squares - means**2, 0.0) * counts / np.maximum(counts - 1, 1)
        kind, lowest, highest = limits[name]
        out.append(
            Series(
                name=name,
                unit="degrees" if kind == "lean" else "mm",
                low=lowest,
                high=highest,
                lot_names=tuple(lot_names[int(k)] for k in at),
                means=means,
                sds=np.where(counts > 1, np.sqrt(spread), np.nan),
                counts=counts,
                extent=(float(low.min()), float(high.max())),
                lots=(),
                samples=(),
                values=np.zeros(0),
                course=judging.course(name, means, longest=LONGEST),
            )
        )
    return out


def _by_sample(
    ledger: Ledger,
    judging: _Judging,
    spec: str | None,
    only: str | None,
    ordered: Mapping[str, int],
    limits: Mapping[str, tuple[str, float, float]],
) -> list[Series]:
    """Few lots: read every sample."""
    i, r = INSPECTION.c, READING.c
    query = _of_spec(
        select(r.name, i.lot, i.place, i.id, i.sample, r.measured - r.nominal, r.u, r.u_common, r.u_assumed),
        spec,
    ).join(INSPECTION, i.id == r.inspection_id)
    query = query.where(r.measured.is_not(None), r.nominal.is_not(None))
    if only is not None:
        query = query.where(r.name == only)
    tables: dict[str, list[tuple[int, int, int, str, float, float]]] = {}
    with ledger.reading() as connection:
        for name, lot, place, number, sample, deviation, *parts in connection.execute(query):
            own = own_part(*(0.0 if x is None else float(x) for x in parts))
            tables.setdefault(name, []).append((ordered[lot], place, number, sample, deviation, own))
    lot_names = list(ordered)
    out: list[Series] = []
    for name, rows in tables.items():
        rows.sort(key=lambda row: row[:3])
        code = np.array([row[0] for row in rows])
        values, stated = (np.array([row[k] for row in rows], dtype=float) for k in (4, 5))
        there = np.unique(code)
        by_lot = [values[code == k] for k in there]
        kind, lowest, highest = limits[name]
        out.append(
            Series(
                name=name,
                unit="degrees" if kind == "lean" else "mm",
                low=lowest,
                high=highest,
                lot_names=tuple(lot_names[k] for k in there),
                means=np.array([x.mean() for x in by_lot]),
                sds=np.array([x.std(ddof=1) if len(x) > 1 else np.nan for x in by_lot]),
                counts=np.array([float(len(x)) for x in by_lot]),
                extent=(float(values.min()), float(values.max())),
                lots=tuple(lot_names[k] for k in code),
                samples=tuple(row[3] for row in rows),
                values=values,
                course=judging.course(name, values, weights=weights_of(values, stated)),
            )
        )
    return out
