"""Samples of a lot, put together from their photos in the ledger."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from sqlalchemy import select

from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_tables import CAUSE, INSPECTION, READING
from compare.verdict.conformity import Rule, Verdict, judge

CHUNK: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One thing measured on a sample.

    Attributes
    ----------
    kind : "length", "pair", "lean" or "clearance". deviation : measured minus nominal; u : its standard
        uncertainty. low, high : limits of the deviation, infinite if there is none.
    alone : deviation by each photo alone, if there are several.
    """

    kind: str
    name: str
    nominal: float
    deviation: float
    u: float
    low: float
    high: float
    alone: tuple[float, ...]

    @property
    def unit(self) -> str:
        """Return "degrees" for a lean, else "mm"."""
        return "degrees" if self.kind == "lean" else "mm"

    def verdict(self, rule: Rule) -> Verdict:
        """Judge it."""
        return judge(self.deviation, self.u, self.low, self.high, rule)


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedCause:
    """A cause the diagnosis named for a sample."""

    name: str
    sentence: str
    size_mm: float
    lean_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One sample.

    Attributes
    ----------
    place : in the lot, 0 for the first made. photos : files that could be used; refused : (file, reason).
    verdict : None if no photo of it could be used.
    """

    name: str
    place: int
    made_at: str
    labels: Mapping[str, str]
    photos: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    readings: Mapping[str, Reading]
    causes: tuple[NamedCause, ...]
    answer: str
    verdict: Verdict | None

    @property
    def out_of_limits(self) -> bool:
        """True if a measured value is out of its limits, its uncertainty left aside."""
        return any(not r.low <= r.deviation <= r.high for r in self.readings.values())

    @property
    def when(self) -> str:
        """Return name and, if known, time: "sample 7 (14:05)"."""
        time = self.made_at.replace("T", " ")
        return f"sample {self.name}" + (f" ({time})" if time else "")


def _limit(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else float(value)


def _reading(row: Mapping[str, Any]) -> Reading:
    return Reading(
        kind=row["kind"],
        name=row["name"],
        nominal=row["nominal"],
        deviation=row["measured"] - row["nominal"],
        u=row["u"],
        low=_limit(row["low"], -np.inf),
        high=_limit(row["high"], np.inf),
        alone=tuple(json.loads(row["alone"])),
    )


def _sample(
    head: Mapping[str, Any], readings: Sequence[Mapping[str, Any]], causes: Sequence[Mapping[str, Any]]
) -> Sample:
    checked = head["status"] == "checked"
    photos = json.loads(head["photos"])
    dropped = tuple((name, reason) for name, reason in json.loads(head["dropped"]))
    if not checked:
        told = {name for name, _ in dropped}
        dropped += tuple((name, head["reason"]) for name in photos if name not in told)
    left_out = {name for name, _ in dropped}
    whole = [r for r in readings if None not in (r["measured"], r["u"], r["nominal"])]
    return Sample(
        name=head["sample"],
        place=head["place"],
        made_at=head["made_at"],
        labels=json.loads(head["labels"]),
        photos=tuple(p for p in photos if p not in left_out),
        refused=tuple((name, reason.removeprefix(f"{name}: ")) for name, reason in dropped),
        readings={r["name"]: _reading(r) for r in whole},
        causes=tuple(
            NamedCause(
                name=c["name"],
                sentence=c["sentence"],
                size_mm=float(c["size_mm"] or 0.0),
                lean_deg=float(c["lean_deg"] or 0.0),
            )
            for c in causes
        ),
        answer=head["answer"],
        verdict=Verdict(head["verdict"]) if checked else None,
    )


def load_samples(ledger: Ledger, keys: Sequence[str]) -> tuple[Sample, ...]:
    """Return the samples that these inspections show, in the order they were made.

    Parameters
    ----------
    keys : of inspections in the ledger, in the order of the lot.
    """
    heads: list[Mapping[str, Any]] = []
    readings: dict[int, list[Mapping[str, Any]]] = {}
    causes: dict[int, list[Mapping[str, Any]]] = {}
    c = INSPECTION.c
    columns = (
        c.id, c.key, c.sample, c.place, c.photos, c.dropped, c.made_at, c.labels, c.status, c.reason,
        c.verdict, c.answer,
    )  # fmt: skip
    with ledger.reading() as connection:
        for i in range(0, len(keys), CHUNK):
            part = list(keys[i : i + CHUNK])
            found = connection.execute(select(*columns).where(c.key.in_(part))).mappings().all()
            heads += [dict(h) for h in found]
            numbers = [h["id"] for h in found]
            for table, out in ((READING, readings), (CAUSE, causes)):
                query = select(table).where(table.c.inspection_id.in_(numbers))
                for row in connection.execute(query).mappings():
                    out.setdefault(row["inspection_id"], []).append(dict(row))
    rank = {key: i for i, key in enumerate(keys)}
    heads.sort(key=lambda h: (h["place"], rank[h["key"]]))
    return tuple(_sample(h, readings.get(h["id"], ()), causes.get(h["id"], ())) for h in heads)
