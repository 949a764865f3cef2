"""The tables of a lot's report: cells as they are read."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from compare.lot.assess_lot import Assessment
from compare.lot.study.capability import Index
from compare.lot.study.lot_statistics import Statistics
from compare.tell.draw.verdict_marks import CSS, SIGN
from compare.tell.lot.lot_text import course_words, limits_words, share_words
from compare.tell.words.lots.lot_words import percent
from compare.tell.words.lots.sample_words import sample_answer
from compare.tell.words.lots.statistics_words import depends, group_words
from compare.tell.words.plain_words import listed
from compare.tell.words.verdict_words import RULES
from compare.verdict.conformity import COVERAGE

LENGTH_HEADS: Final = (
    "n",
    "mean",
    "U of it",
    "spread",
    "allowed",
    "out",
    "surely out",
    "share out",
    "course",
)
ABLE_HEADS: Final = ("Cp", "Cpk", "Pp", "Ppk (95 %)", "95 % of parts")
Row = dict[str, Any]


def _number(x: float, digits: int = 2) -> str:
    return f"{x:.{digits}f}" if math.isfinite(x) else "–"


def _index(index: Index | None, *, interval: bool = False) -> str:
    if index is None or math.isnan(index.value):
        return "–"
    return f"{index.value:.2f}" + (f" ({index.low:.2f} to {index.high:.2f})" if interval else "")


def length_row(s: Statistics, names: Sequence[str], aside: Sequence[str]) -> Row:
    """Return a row of what was measured over the samples, its cells with their headings."""
    share = share_words(s, aside)
    if math.isfinite(s.true_share):
        share += f" ({percent(s.true_share)})"
    cells = [
        s.n,
        f"{s.mean:+.2f}",
        f"{COVERAGE * s.mean_u:.2f}",
        _number(s.sd),
        limits_words(s),
        s.outside,
        s.failing,
        share,
        course_words(s, names),
    ]
    return {
        "name": s.name,
        "bad": s.failing > 0 or s.drifts,
        "cells": list(zip(LENGTH_HEADS, cells, strict=True)),
    }


def able_row(s: Statistics) -> Row:
    """Return a row of what the line could do, and did."""
    cells = [
        _index(s.able.ratio if s.able else None),
        _index(s.able.least if s.able else None),
        _index(s.did.ratio if s.did else None),
        _index(s.did.least if s.did else None, interval=True),
        f"{s.interval[0]:+.2f} to {s.interval[1]:+.2f}",
    ]
    return {"name": s.name, "cells": list(zip(ABLE_HEADS, cells, strict=True))}


def group_table(a: Assessment) -> dict[str, Any] | None:
    """Return which length depends on which label, and whether others were looked at; None without labels."""
    lengths = [s for s in a.statistics if s.kind == "length" and s.groupings]
    if not lengths:
        return None
    columns = list(dict.fromkeys(g.column for s in lengths for g in s.groupings))
    rows = []
    for s in lengths:
        if not any(depends(g, len(lengths)) for g in s.groupings):
            continue
        by = {g.column: group_words(g, s, len(lengths)) for g in s.groupings}
        rows.append({"name": s.name, "cells": [(c, by.get(c, "–")) for c in columns]})
    return {"columns": columns, "rows": rows, "others": len(lengths) - len(rows)}


def sample_rows(a: Assessment, columns: Sequence[str]) -> list[Row]:
    """Return a row for each sample."""
    return [
        {
            "name": s.name,
            "made": s.made_at.replace("T", " "),
            "labels": [(c, s.labels.get(c, "")) for c in columns],
            "css": CSS[s.verdict] if s.verdict else "unsure",
            "sign": SIGN[s.verdict] if s.verdict else "–",
            "verdict": s.verdict.value if s.verdict else "no usable photo",
            "answer": sample_answer(s, a.checking.rule),
        }
        for s in a.samples
    ]


def record_rows(a: Assessment, folder: Path) -> list[tuple[str, str]]:
    """Return what the report rests on."""
    settings = ", ".join(f"{k} {v}" for k, v in a.checking.as_dict().items())
    masters = [] if a.comparison is None else [("measured by hand", listed(list(a.comparison.masters)))]
    return [
        ("photos", folder.name),
        ("spec", f"{a.spec.source.name}, SHA-256 {a.spec.source.sha256}"),
        ("settings", settings),
        *masters,
        ("decision rule", RULES[a.checking.rule]),
        ("foldgauge", a.version),
        (
            "methods",
            "capability: ISO 22514-2; charts: ISO 7870-2; tolerance interval: ISO 16269-6; plan: "
            "MIL-STD-105E; course: best of constant, drift, step and late drift (BIC, permutation test); "
            "comparison with samples measured by hand: JCGM 100 (GUM), H.1",
        ),
    ]


def cares(a: Assessment) -> list[str]:
    """Return what in the numbers should be read with care."""
    names = [s.name for s in a.statistics if s.kind == "length" and s.normality.chance < 0.01]
    out = []
    if names:
        out.append(
            f"Not normally distributed: {listed(names)}. Capability and share out are rough there; count the "
            "samples instead."
        )
    wide = [s.name for s in a.statistics if s.kind == "length" and 6 * s.u > s.high - s.low]
    if wide:
        out.append(
            f"The uncertainty of one sample is large beside the tolerance for {listed(wide)}: many samples "
            "are too close to call."
        )
    return out
