"""A dummy judged without a spec, as JSON: what `compare.tell.trace.trace_json` has, and the judgement.

answer        the answer in words
verdict       "conforms" | "does not conform" | "too close to call"
taken_for     "parallel-fold" | "oblique"
pairs, sums   {rule: {measured, U, limits [low, high], probability, verdict}}; pairs also odd, mends
lean          {side: the same in degrees, made {rule: degrees}}
mirrors       {length: {measured: left minus right, U}}
unseen        rules and halves the photo does not show enough of
"""

import math
from typing import Any

from compare.jobs.judge_dummy import Judgement
from compare.tell.trace.trace_json import tracing_dict
from compare.tell.words.craft_words import craft_answer, craft_notes, mend_words
from compare.verdict.conformity import Item
from compare.version import versions
from compare.without_spec.craft_findings import PairFound


def judgement_dict(judgement: Judgement) -> dict[str, Any]:
    """Return all that is documented above as plain dicts and lists."""
    findings = judgement.findings
    traced = tracing_dict(judgement.tracing)
    return {
        "answer": craft_answer(findings),
        "verdict": findings.verdict.value,
        "taken_for": findings.taken_for.value,
        "pairs": {p.item.name: _pair(p) for p in findings.pairs},
        "sums": {i.name: _item(i) for i in findings.sums},
        "lean": {
            n.side: _item(n.item) | {"made": {k: round(v, 6) for k, v in n.made.items()}}
            for n in findings.leans
        },
        "mirrors": {
            i.name: {"measured": round(i.measured, 6), "U": round(i.expanded, 6)} for i in findings.mirrors
        },
        "alike": findings.alike,
        "strange": {
            i.name: {"measured": round(i.measured, 6), "U": round(i.expanded, 6)} for i in findings.strange
        },
        "unseen": list(findings.unseen),
        **traced,
        "notes": [*craft_notes(judgement), *traced["notes"]],
        "versions": versions(),
    }


def _item(item: Item) -> dict[str, Any]:
    return {
        "measured": round(item.measured, 6),
        "U": round(item.expanded, 6),
        "limits": [item.low, item.high],
        "probability": round(item.probability, 6),
        "verdict": item.verdict.value,
    }


def _pair(pair: PairFound) -> dict[str, Any]:
    return _item(pair.item) | {
        "odd": pair.odd or None,
        "agreeing": list(pair.agreeing),
        "mends": [
            {
                "text": mend_words(m),
                "length": m.length,
                "by_mm": round(m.by_mm, 6),
                "to_mm": round(m.to_mm, 6),
                "cuts": m.cuts,
                "lean_after": None if math.isnan(m.lean_deg) else round(m.lean_deg, 6),
            }
            for m in pair.mends
        ],
    }
