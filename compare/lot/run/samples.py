"""Samples of a lot, put together from their photos in the ledger."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from sqlalchemy import select

from compare.compare_errors import LotError, LotOption
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_tables import CAUSE, INSPECTION, READING
from compare.verdict.conformity import Rule, Verdict, judge, overall

CHUNK: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One thing measured on a sample.

    Attributes
    ----------
    kind : "length", "pair", "lean" or "clearance". deviation : measured minus nominal; u : its standard
        uncertainty. low, high : limits of the deviation, infinite if there is none.
    common : part of u that all photos of the set-up share. assumed : part that rests on values which no photo
        shows (the place of an unseen spine). stated_own : the sample's own part as the photo states it.
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
    common: float = 0.0
    assumed: float = 0.0
    stated_own: float = math.nan

    @property
    def own(self) -> float:
        """Part of u that is this sample's alone: what is left of it in a comparison with another sample."""
        return own_part(self.u, self.common, self.assumed)

    @property
    def unit(self) -> str:
        """Return "degrees" for a lean, else "mm"."""
        return "degrees" if self.kind == "lean" else "mm"

    def verdict(self, rule: Rule) -> Verdict:
        """Judge it."""
        return judge(self.deviation, self.u, self.low, self.high, rule)

    def left_aside(self, rule: Rule) -> bool:
        """Return True if what no photo shows is alone enough to keep it open: no sample is to blame."""
        seen = self.verdict(rule)
        alone = judge(self.deviation, self.assumed, self.low, self.high, rule)
        return self.assumed > 0 and seen is Verdict.OPEN and alone is Verdict.OPEN


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
    answer, by_photo : of the photo alone. unseen : what it should show and does not; None = not known.
    verdict : of the sample in its lot; None if no photo of it could be used.
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
    unseen: tuple[str, ...] | None = None
    by_photo: Verdict | None = None

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


def own_part(u: float, common: float, assumed: float) -> float:
    """Return what is left of an uncertainty beside the common and the assumed part."""
    return math.sqrt(max(u**2 - common**2 - assumed**2, 0.0))


def _reading(row: Mapping[str, Any]) -> Reading:
    common, assumed = row["u_common"] or 0.0, row["u_assumed"] or 0.0
    return Reading(
        kind=row["kind"],
        name=row["name"],
        nominal=row["nominal"],
        deviation=row["measured"] - row["nominal"],
        u=row["u"],
        low=_limit(row["low"], -np.inf),
        high=_limit(row["high"], np.inf),
        alone=tuple(json.loads(row["alone"])),
        common=common,
        assumed=assumed,
        stated_own=own_part(row["u"], common, assumed),
    )


def _sample(
    head: Mapping[str, Any], readings: Sequence[Mapping[str, Any]], causes: Sequence[Mapping[str, Any]]
) -> Sample:
    checked = head["status"] == "checked"
    verdict = Verdict(head["verdict"]) if checked else None
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
        verdict=verdict,
        by_photo=verdict,
        unseen=None if head["unseen"] is None else tuple(json.loads(head["unseen"])),
    )


def judged(sample: Sample, rule: Rule) -> Sample:
    """Return a sample judged by its readings as they stand, those that no photo can settle left aside.

    Where it is not known what the photo did not show, the photo's verdict stays. What conforms has no causes.
    """
    if sample.verdict is None or sample.unseen is None:
        return sample
    told = [r.verdict(rule) for r in sample.readings.values() if not r.left_aside(rule)]
    verdict = overall(told)
    if verdict is Verdict.CONFORMS and sample.unseen:
        verdict = Verdict.OPEN  # what was not seen cannot be called good
    causes = () if verdict is Verdict.CONFORMS else sample.causes
    return replace(sample, verdict=verdict, causes=causes)


def load_samples(ledger: Ledger, keys: Sequence[str]) -> tuple[Sample, ...]:
    """Return the samples that these inspections show, in the order they were made.

    Parameters
    ----------
    keys : of inspections in the ledger, in the order of the lot.

    Raises
    ------
    LotError : what the ledger holds cannot be read.
    """
    heads: list[Mapping[str, Any]] = []
    readings: dict[int, list[Mapping[str, Any]]] = {}
    causes: dict[int, list[Mapping[str, Any]]] = {}
    c = INSPECTION.c
    columns = (
        c.id, c.key, c.sample, c.place, c.photos, c.dropped, c.made_at, c.labels, c.status, c.reason,
        c.verdict, c.answer, c.unseen,
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
    samples: list[Sample] = []
    for h in heads:
        try:
            samples.append(_sample(h, readings.get(h["id"], ()), causes.get(h["id"], ())))
        except (ValueError, TypeError, AttributeError):  # cells that no ledger of ours holds
            raise LotError(
                f"the ledger {ledger.place} is damaged: its inspection of sample {str(h['sample'])[:40]!r} "
                "cannot be read; ",
                LotOption.LEDGER,
                " names another place",
            ) from None
    return tuple(samples)
