"""One sample checked, as it goes into the ledger: its key, and the rows made of its result."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

TABLES: Final = {"length": "lengths", "pair": "pairs", "lean": "lean", "clearance": "clearance"}
"""Kind of a reading -> where it stands in a result."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One sample checked, as it goes into the ledger.

    Attributes
    ----------
    lot, sample, place, labels, made_at : from the folder and the manifest.
    photos, photos_sha256, spec, spec_sha256, settings, version : what was checked with what.
    dropped : (photo, reason) of those that could not be used.
    status : "checked" or "refused"; reason : why it was refused.
    result : as the command `check` prints it as JSON; {} if refused.
    alone : name of a reading -> its deviation by each photo alone; {} for a single photo.
    """

    lot: str
    sample: str
    place: int
    labels: Mapping[str, str]
    made_at: str
    photos: Sequence[str]
    photos_sha256: Sequence[str]
    dropped: Sequence[tuple[str, str]]
    spec: str
    spec_sha256: str
    settings: Mapping[str, Any]
    version: str
    status: str
    reason: str
    seconds: float
    result: Mapping[str, Any]
    alone: Mapping[str, Sequence[float]]

    @property
    def key(self) -> str:
        """What makes this inspection the same as another."""
        return inspection_key(self.photos_sha256, self.spec_sha256, self.settings, self.version)


def inspection_key(
    photos_sha256: Sequence[str], spec_sha256: str, settings: Mapping[str, Any], version: str
) -> str:
    """Return the key of an inspection: photos, spec, settings and version, hashed."""
    text = json.dumps([list(photos_sha256), spec_sha256, dict(settings), version], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _half(expanded: float | None) -> float | None:
    return None if expanded is None else expanded / 2


def readings_of(
    result: Mapping[str, Any], alone: Mapping[str, Sequence[float]] | None = None
) -> list[dict[str, Any]]:
    """Return the rows of everything with a verdict in a result."""
    rows: list[dict[str, Any]] = []
    for kind, table in TABLES.items():
        for short, item in result.get(table, {}).items():
            low, high = item["limits"]
            name = f"{kind} {short}" if kind in ("lean", "clearance") else short
            rows.append(
                {
                    "kind": kind,
                    "name": name,
                    "nominal": item["nominal"],
                    "measured": item["measured"],
                    "u": _half(item["U"]),
                    "u_common": _half(item.get("U_common")),
                    "u_assumed": _half(item.get("U_assumed")),
                    "low": low,
                    "high": high,
                    "verdict": item["verdict"],
                    "alone": json.dumps(list((alone or {}).get(name, ()))),
                }
            )
    return rows


def causes_of(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the rows of the causes that the answer names.

    Where the diagnosis names none but the sample fails, the length with the largest share of the lean of each
    failing half stands in, as it does in the answer.
    """
    named = _named_causes(result)
    if named or result.get("verdict") != "does not conform":
        return named
    out: dict[str, dict[str, Any]] = {}
    for half in result["lean"].values():
        shares = [c for c in half["contributions"] if c["exact"] is not None]
        if half["verdict"] != "does not conform" or not shares:
            continue
        largest = max(shares, key=lambda c: abs(c["exact"]))
        out.setdefault(
            largest["length"],
            {
                "name": largest["length"],
                "sentence": "",
                "size_mm": largest["deviation_mm"],
                "probability": None,
                "lean_deg": abs(largest["exact"]),
            },
        )
    return list(out.values())


def _named_causes(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "name": c["name"],
            "sentence": c["sentence"],
            "size_mm": c["size_mm"],
            "probability": c["probability"],
            "lean_deg": max((abs(v) for v in c["lean"].values() if v is not None), default=0.0),
        }
        for c in result.get("diagnosis", {}).get("causes", ())
        if c["named"] and result["verdict"] != "conforms"
    ]
