"""A design as JSON: one stable structure for other programs. Lengths in mm, angles in degrees.

    answer              the first line; concerns, remarks: sentences
    changes             for each concern {table, key, value} of the number to change, or null
    title, units        of the spec; units of the numbers here are always mm and degrees
    lengths             {name: nominal}; angles in degrees for those listed in `degrees`
    pairs, loops        {name: {one, other, difference}}: sums or lengths that should be equal
    openings            degrees, descending; rise {mm per opening}; ridges {name: [mm]}
    lean                {half: [degrees]}; nod [degrees] or null
    over                {side: [mm]}: reach beyond the fore edge, negative = inside
    shuts               {at_deg (0 = it shuts), contact}; opens_to_deg
    shut                {side: {reach, page, clearance, asked}}
    crossings           [{panels, from_deg, to_deg}]
    tolerance           null, or {spreads, samples, level, conform, tighten, contact_deg: [median, 95 %],
                        results: {name: {unit, nominal, mean, sd, sd_first_order, low, high, within,
                        shares: [{length, rate, share}]}}}

A number that could not be had is null.
"""

import json
import math
from typing import Any

import numpy as np

from capture.arrays import Array
from compare.design.spec.spec import Spec
from compare.design.study.concerns import concerns, remarks
from compare.design.study.design_fixes import Fix, fix_for
from compare.design.study.motion import Motion
from compare.design.study.soundness import shut_reach
from compare.design.study.tolerance import Study
from compare.tell.words.designs.design_words import all_told, contact_told, headline
from compare.vocabulary import parsed
from measure.sides import SIDES


def _number(x: float) -> float | None:
    return round(float(x), 6) + 0.0 if math.isfinite(x) else None


def _row(v: Array) -> list[float | None]:
    return [_number(float(x)) for x in v]


def _study(found: Study) -> dict[str, Any]:
    return {
        "spreads": {k: _number(v) for k, v in found.spreads.items()},
        "samples": found.samples,
        "level": _number(found.level),
        "conform": _number(found.conform),
        "tighten": _number(found.tighten),
        "contact_deg": [_number(v) for v in found.contact],
        "results": {
            r.name: {
                "unit": r.unit,
                "nominal": _number(r.nominal),
                "mean": _number(r.mean),
                "sd": _number(r.sd),
                "sd_first_order": _number(r.sd_linear),
                "low": _number(r.low),
                "high": _number(r.high),
                "within": _number(r.within),
                "shares": [
                    {"length": s.length, "rate": _number(s.rate), "share": _number(s.share)} for s in r.shares
                ],
            }
            for r in found.results
        },
    }


def _change(fix: Fix | None) -> dict[str, Any] | None:
    return {"table": fix.table, "key": fix.key, "value": _number(fix.value)} if fix else None


def design_as_dict(spec: Spec, motion: Motion, found: Study | None) -> dict[str, Any]:
    """Return a design, its movement and (if studied) its scatter, ready for JSON."""
    m = spec.mechanism
    n = m.lengths
    wrong = concerns(spec, motion)
    answer = f"{spec.title or spec.source.name}. {headline(spec, wrong, found)}"
    shut = {}
    for side in SIDES:
        reach, page = shut_reach(spec, side), float(getattr(spec.base, f"page_{side}"))
        shut[side] = {
            "reach": _number(reach),
            "page": _number(page),
            "clearance": _number(page - reach),
            "asked": _number(spec.tolerance.clearance),
        }
    nod = motion.pose.nod
    return {
        "answer": answer,
        "concerns": list(all_told(wrong, spec)),
        "changes": [_change(fix_for(spec, fact)) for fact in wrong],
        "remarks": list(all_told(remarks(spec, motion), spec)),
        "title": spec.title,
        "units": {"length": "mm", "angle": "deg", "spec": spec.units},
        "spec": {"name": spec.source.name, "sha256": spec.source.sha256},
        "lengths": {k: _number(v) for k, v in n.items()},
        "degrees": sorted(m.degrees),
        "pairs": {
            p.name: {"one": n[p.first], "other": n[p.second], "difference": _number(n[p.first] - n[p.second])}
            for p in m.pairs
        },
        "loops": {
            loop.name: dict(zip(("one", "other"), (_number(v) for v in loop.sums(n)), strict=True))
            | {"difference": _number(loop.error(n))}
            for loop in m.loops
        },
        "openings": _row(np.degrees(motion.phi)),
        "rise": _row(motion.rise),
        "ridges": {k: _row(v[:, 1]) for k, v in motion.pose.joints.items() if parsed(k).is_ridge},
        "lean": {k: _row(np.degrees(v)) for k, v in motion.pose.lean.items()},
        "nod": None if nod is None else _row(np.degrees(nod)),
        "over": {k: _row(v) for k, v in motion.over.items()},
        "shuts": {"at_deg": _number(np.degrees(motion.shut_at)), "contact": contact_told(motion.contact)},
        "opens_to_deg": _number(np.degrees(motion.opens_to)),
        "shut": shut,
        "crossings": [
            {
                "panels": list(c.panels),
                "from_deg": _number(np.degrees(c.high)),
                "to_deg": _number(np.degrees(c.low)),
            }
            for c in motion.crossings
        ],
        "tolerance": None if found is None else _study(found),
    }


def to_json(data: dict[str, Any]) -> str:
    """Return a JSON text."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
