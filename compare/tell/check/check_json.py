"""The result as JSON: one stable structure for other programs.

    answer, also        the answer in words; further sentences
    rule                "guarded" | "simple": the decision rule
    verdict             "conforms" | "does not conform" | "too close to call"
    title               of the spec
    units               {"length": "mm", "angle": "deg"}: always, whatever the spec is written in
    photo               {"name", "sha256", "size"}; spec {"name", "sha256", "units"}
    camera              name of the calibrated camera | null
    use, standoff_mm    how the sheet was used, and how far in front of it the near end stands
    lengths, pairs      {name: {nominal, measured, U, deviation, limits [low, high], probability, verdict,
                        U_common, U_assumed}}: of U, what photos of one set-up share, and what rests on
                        values that no photo shows
    angles              {name: {nominal, measured, U, deviation}} (they follow from the lengths)
    lean                {side: {nominal, measured, U, deviation, limits, probability, verdict, U_common,
                        U_assumed, solved, remainder, remainder_U,
                        contributions: [{length, deviation_mm, exact, first_order, U}]}}
    clearance           {side: like lengths, remark}
    diagnosis           {none, misfit, causes: [{name, sentence, size_mm, u_mm, probability, named,
                        lean: {side: deg}, pattern: {length: mm per mm}}]}
    remedies            [{text, steps, cuts, effort, probability, side_effects, changes_mm, sets_mm,
                        lean_after, lean_after_U, closing_after_mm, closing_after_U, clearance_after_mm,
                        clearance_after_U}]
    binding             {opening, low, high, usual, gap_mm, matters, assumed} | null: where card meets card
    overhang            {edge: {measured_mm, measured_U, predicted_mm, predicted_U, agrees}} of a closed photo
    motion              {sentences, openings: [{photos, opening, lean: {half: {seen, U, fitted, fitted_U,
                        design, rest, rest_U}}, rest_mm: {length: {rest, U}}}]}: with several openings
    symptoms            sentences: what the photo shows beside the lengths
    next_steps          sentences
    unseen              names of what the photo should show and does not: with any, nothing can be called good
    undetermined        {name: reason}; assumed {name: reason}
    notes               sentences
    versions            {"foldgauge", "numpy", "opencv", "python"}

Limits are on the deviation; a missing limit, or a number that could not be had, is null. U is the expanded
uncertainty (k = 2).
"""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from compare.cause.binding import Binding
from compare.cause.lean import Leaning
from compare.jobs.check_dummy import Inspection
from compare.jobs.shut_photo import ShutPhoto
from compare.tell.motion_seen.motion_table import motion_dict
from compare.tell.words.answer import also, answer
from compare.tell.words.cause_words import cause_sentence
from compare.tell.words.next_steps import next_steps
from compare.tell.words.photos.note_words import inspection_notes
from compare.tell.words.reason_words import told_reasons
from compare.tell.words.repair_words import EFFORT, move_sentence, remedy_text, side_effects
from compare.tell.words.symptom_words import symptom_sentences
from compare.tell.words.verdict_words import remark_words
from compare.units import unit_of
from compare.verdict.conformity import COVERAGE, Item
from compare.verdict.doubt_parts import DoubtParts, doubt_parts
from compare.verdict.findings import Findings
from compare.verdict.outlook import Outlook
from compare.version import versions
from compare.vocabulary import parsed


def _number(x: float, digits: int = 6) -> float | None:
    return round(float(x), digits) + 0.0 if math.isfinite(x) else None


def _item(item: Item) -> dict[str, Any]:
    out: dict[str, Any] = {
        "nominal": _number(item.nominal),
        "measured": _number(item.measured),
        "U": _number(item.expanded),
        "deviation": _number(item.deviation),
        "limits": [_number(item.low), _number(item.high)],
        "probability": _number(item.probability),
        "verdict": item.verdict.value,
    }
    if item.remarks:
        out["remark"] = remark_words(item)
    return out


def _judged(item: Item, parts: Mapping[str, DoubtParts]) -> dict[str, Any]:
    """Return an item with limits and what its U is made of."""
    mine = parts.get(item.name)
    return _item(item) | {
        "U_common": None if mine is None else _number(COVERAGE * mine.common),
        "U_assumed": None if mine is None else _number(COVERAGE * mine.assumed),
    }


def _lean(leaning: Leaning, parts: Mapping[str, DoubtParts]) -> dict[str, Any]:
    return _judged(leaning.item, parts) | {
        "solved": _number(leaning.solved_deg),
        "remainder": _number(leaning.remainder_deg),
        "remainder_U": _number(2 * leaning.remainder_u_deg),
        "contributions": [
            {
                "length": c.length,
                "deviation_mm": _number(c.deviation_mm),
                "exact": _number(c.exact_deg),
                "first_order": _number(c.first_order_deg),
                "U": _number(2 * c.u_deg),
            }
            for c in leaning.contributions
        ],
    }


def _after(value: str, known: str, items: Sequence[Item]) -> dict[str, Any]:
    """Return items after a repair as two objects by name: values and their U."""
    return {
        value: {parsed(i.name).about: _number(i.measured) for i in items},
        known: {parsed(i.name).about: _number(i.expanded) for i in items},
    }


def _binding(binding: Binding | None) -> dict[str, Any] | None:
    if binding is None:
        return None
    return {
        "opening": _number(binding.phi_deg, 2),
        "low": _number(binding.low_deg, 2),
        "high": _number(binding.high_deg, 2),
        "usual": _number(binding.usual_deg, 2),
        "gap_mm": _number(binding.gap_mm, 2),
        "matters": binding.matters,
        "assumed": list(binding.assumed),
    }


def _outlook(outlook: Outlook | None) -> dict[str, Any] | None:
    if outlook is None:
        return None
    best = outlook.reading
    return {
        "good": _number(outlook.good),
        "reading": best
        and {"length": best.name, "expected_mm": _number(best.expected_mm), "settles": _number(best.settles)},
    }


def findings_dict(findings: Findings) -> dict[str, Any]:
    """Return the comparison as plain dicts, lists, strings and numbers."""
    diagnosis, unit = findings.diagnosis, unit_of(findings.spec.units)
    parts = doubt_parts(findings.measured, findings.spec)
    angles = {}
    for i in findings.angles:
        angles[i.name] = {k: v for k, v in _item(i).items() if k in ("nominal", "measured", "U", "deviation")}
    return {
        "answer": answer(findings),
        "also": list(also(findings)),
        "verdict": findings.verdict.value,
        "rule": findings.rule.value,
        "title": findings.spec.title,
        "units": {"length": "mm", "angle": "deg"},
        "lengths": {i.name: _judged(i, parts) for i in findings.lengths},
        "angles": angles,
        "pairs": {i.name: _judged(i, parts) for i in findings.pairs},
        "lean": {n.side: _lean(n, parts) for n in findings.leans},
        "clearance": {parsed(i.name).side: _judged(i, parts) for i in findings.clearances},
        "diagnosis": {
            "none": _number(diagnosis.probability_none),
            "misfit": _number(diagnosis.misfit),
            "causes": [
                {
                    "name": c.fault.name,
                    "sentence": cause_sentence(c),
                    "size_mm": _number(c.size_mm),
                    "u_mm": _number(c.u_mm),
                    "probability": _number(c.probability),
                    "named": c.named,
                    "lean": {s: _number(v) for s, v in c.lean_deg.items()},
                    "pattern": dict(c.fault.pattern),
                }
                for c in diagnosis.causes
            ],
        },
        "remedies": [
            {
                "text": remedy_text(r, unit),
                "steps": [move_sentence(m, unit) for m in r.moves],
                "cuts": r.cuts,
                "effort": EFFORT[r.effort],
                "probability": _number(r.probability),
                "side_effects": list(side_effects(r, unit)),
                "changes_mm": {k: _number(v) for k, v in r.changes_mm.items()},
                "sets_mm": {k: _number(v) for k, v in r.sets_mm.items()},
                **_after("lean_after", "lean_after_U", r.leans),
                **_after("closing_after_mm", "closing_after_U", r.sums),
                **_after("clearance_after_mm", "clearance_after_U", r.clearances),
            }
            for r in findings.remedies
        ],
        "outlook": _outlook(findings.outlook),
        "binding": _binding(findings.binding),
        "overhang": {
            o.edge: {
                "measured_mm": _number(o.measured_mm),
                "measured_U": _number(2 * o.measured_u_mm),
                "predicted_mm": _number(o.predicted_mm),
                "predicted_U": _number(2 * o.predicted_u_mm),
                "agrees": not o.disagrees,
            }
            for o in findings.overhangs
        },
        "symptoms": symptom_sentences(findings.symptoms, unit),
        "next_steps": list(next_steps(findings)),
        "unseen": list(findings.unseen),
        "undetermined": told_reasons(findings.undetermined),
        "assumed": told_reasons(findings.measured.assumed),
    }


def inspection_dict(inspection: Inspection) -> dict[str, Any]:
    """Return all that is documented above."""
    photo, source, placing = inspection.photo, inspection.spec.source, inspection.placing
    out = findings_dict(inspection.findings)
    out["photo"] = {"name": photo.name, "sha256": photo.sha256, "size": list(photo.size)}
    if len(inspection.shots) > 1:
        out["photos"] = [
            {"name": s.photo.name, "sha256": s.photo.sha256, "opening_deg": _number(deg, 2)}
            for s, deg in zip(inspection.shots, inspection.gathered.openings_deg, strict=True)
        ]
    together = inspection.gathered.together
    if together is not None:
        out["near_ends_mm"] = {k: round(v, 2) for k, v in together.near_end_mm.items()}
    out["spec"] = {"name": source.name, "sha256": source.sha256, "units": inspection.spec.units}
    out["camera"] = inspection.camera or None
    out["use"] = placing.use
    out["standoff_mm"] = placing.standoff_mm
    out["sheet"] = {
        "paper": inspection.sighting.sheet.paper,
        "saddles": inspection.view.n_saddles,
        "rms_px": round(inspection.view.rms_px, 4),
    }
    if (motion := inspection.motion) is not None:
        out["motion"] = motion_dict(motion, inspection.findings)
    if inspection.closed is not None:
        out["closed"] = _closed(inspection.closed)
    if inspection.readings:
        out["readings"] = {
            r.name: {"value_mm": _number(r.value_mm), "U": _number(COVERAGE * r.u_mm)}
            for r in inspection.readings
        }
    if hand := inspection.shots[0].profile.by_hand:
        out["by_hand"] = {joint: {"sd_px": sd} for joint, sd in hand.items()}
    out["notes"] = inspection_notes(inspection)
    out["versions"] = versions()
    return out


def _closed(closed: ShutPhoto) -> dict[str, Any]:
    """Return the outline of a shut dummy: page size, and every piece beyond it with U and extent, mm."""
    o = closed.outline
    return {
        "photo": {"name": closed.name, "sha256": closed.sha256},
        "thickness_mm": closed.thickness_mm,
        "page": {
            name: {"measured": round(size, 4), "U": round(COVERAGE * u, 4)}
            for name, size, u in zip(("width", "depth"), o.size_mm, o.size_u_mm, strict=True)
        },
        "beyond": [
            {
                "edge": p.edge,
                "amount": round(p.amount_mm, 4),
                "U": round(COVERAGE * p.u_mm, 4),
                "from": round(p.from_mm, 2),
                "to": round(p.to_mm, 2),
            }
            for p in o.beyond
        ],
    }


def to_text(data: Mapping[str, Any]) -> str:
    """Return JSON text, indented, keys in the documented order; no NaN ever."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
