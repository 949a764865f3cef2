"""One dummy before and after a repair: what changed, surer than either photo alone.

Both photos are taken with the same sheet, camera and standoff, so what these make wrong is wrong in both and
cancels in the difference (a comparison measurement: JCGM 100:2008 "GUM", 5.2.4 and example H.1).
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from capture.errors import FoldgaugeError
from capture.files import read_whole
from compare.jobs.check_dummy import Inspection
from compare.verdict.conformity import COVERAGE, Item
from compare.verdict.doubt_parts import DoubtParts, doubt_parts
from compare.verdict.findings import Findings
from compare.vocabulary import Told

MOST_BYTES: Final = 20_000_000
TABLES: Final[Mapping[str, str]] = {
    "lengths": "",
    "pairs": "",
    "lean": Told.LEAN,
    "clearance": Told.CLEARANCE,
}
"""Table of a result -> what stands before the names in it."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """One thing as it was measured before: value, standard uncertainty, and what this is made of."""

    value: float
    u: float
    parts: DoubtParts


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """An earlier check of the same dummy, as it was printed as JSON.

    Attributes
    ----------
    file : its name. items : name -> as it was. setup : how the photo was taken.
    """

    file: str
    items: Mapping[str, Earlier]
    setup: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """How one thing changed.

    Attributes
    ----------
    item : as it is now. before : as it was, in the item's unit. u : standard uncertainty of the change.
    """

    item: Item
    before: float
    u: float

    @property
    def amount(self) -> float:
        """Now minus before."""
        return self.item.measured - self.before

    @property
    def sure(self) -> bool:
        """True if it changed beyond the expanded uncertainty of the change."""
        return abs(self.amount) > COVERAGE * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Everything that both photos show, the surest change first.

    Attributes
    ----------
    file : the earlier result. same_setup : whether what a set-up makes wrong cancels.
    """

    file: str
    changes: tuple[Change, ...]
    same_setup: bool


def _setup(data: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "use": data["use"],
        "standoff_mm": data["standoff_mm"],
        "camera": data["camera"],
        "paper": data["sheet"]["paper"],
    }


def _earlier(item: Mapping[str, Any]) -> Earlier | None:
    numbers = [item["measured"], item["U"], item["U_common"], item["U_assumed"]]
    if any(x is None for x in numbers):
        return None
    value, *expanded = (float(x) for x in numbers)
    u, common, assumed = (x / COVERAGE for x in expanded)
    return Earlier(value, u, DoubtParts(common=common, assumed=assumed))


def read_before(path: Path) -> Before:
    """Read an earlier result.

    Raises
    ------
    FoldgaugeError : it cannot be read, or is not a check kept as JSON.
    """
    try:
        data = json.loads(read_whole(path, MOST_BYTES).decode("utf-8-sig"))
        items = {
            f"{told} {name}" if told else name: found
            for table, told in TABLES.items()
            for name, item in data[table].items()
            if (found := _earlier(item)) is not None
        }
        return Before(file=path.name, items=items, setup=_setup(data))
    except OSError as err:
        raise FoldgaugeError(f"{path.name}: the earlier result cannot be read: {err.strerror}") from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise FoldgaugeError(
            f"{path.name} is no earlier result: the check of the photo before the repair is wanted, "
            "kept as JSON"
        ) from None


def _of_change(was: Earlier, item: Item, now: DoubtParts, same_setup: bool) -> float:
    """Return the standard uncertainty of a change; what is assumed may have changed with the repair."""
    own = sum(max(u**2 - p.common**2 - p.assumed**2, 0.0) for u, p in ((was.u, was.parts), (item.u, now)))
    if same_setup:
        common = (was.parts.common - now.common) ** 2
    else:
        common = was.parts.common**2 + now.common**2
    return math.sqrt(own + common + was.parts.assumed**2 + now.assumed**2)


def setup_of(inspection: Inspection) -> dict[str, Any]:
    """Return how the photo was taken, as an earlier result tells it."""
    return {
        "use": inspection.placing.use,
        "standoff_mm": inspection.placing.standoff_mm,
        "camera": inspection.camera or None,
        "paper": inspection.sighting.sheet.paper,
    }


def changes_since(before: Before, findings: Findings, setup: Mapping[str, Any]) -> Changes:
    """Return what changed since an earlier check.

    Parameters
    ----------
    findings : of the photo now. setup : how it was taken (`setup_of`).

    Raises
    ------
    FoldgaugeError : the two show nothing in common.
    """
    now = doubt_parts(findings.measured, findings.spec)
    same = dict(setup) == dict(before.setup)
    changes = [
        Change(item=i, before=was.value, u=_of_change(was, i, now[i.name], same))
        for i in findings.items
        if (was := before.items.get(i.name)) is not None and i.name in now
    ]
    if not changes:
        raise FoldgaugeError(f"{before.file} shows nothing that this photo shows: is it the same dummy?")
    changes.sort(key=lambda c: -abs(c.amount) / max(c.u, 1e-9))
    return Changes(file=before.file, changes=tuple(changes), same_setup=same)
