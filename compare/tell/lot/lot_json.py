"""A lot's assessment as plain dicts and lists, for other programs.

    lot, title, spec, version, settings
    decision     {word, stop, headline, sentences, counts, share, plan, risks, by_variables, left_aside}
    comparison   null, or {masters, own_sd, sentences, taken_off {name: {shift, U}}}
    samples      [{name, made_at, labels, photos, verdict, by_photo, answer, readings {name: {deviation, U,
                 U_common, limits}}}]: verdict and answer in the lot, and verdict by the photo alone
    statistics   {name: {kind, unit, n, limits, mean, mean_U, sd, short_sd, U, U_own, U_common, Cp, Cpk, Pp,
                 Ppk (each [value, low, high]), normal, interval, outside, failing, share_outside,
                 share_outside_range, measuring_sd, share_outside_true, course {kind, since, change, chance},
                 signals, subgroups, groups}}
    causes       [{name, samples, mean_mm, lean_deg}]; advice [{seen, do}]; cautions; problems; notes

Deviations in mm (lean: degrees); a number that could not be had is null.
"""

import math
from typing import Any

from compare.lot.assess_lot import Assessment
from compare.lot.run.samples import Sample
from compare.lot.study.capability import Capability, Index
from compare.lot.study.lot_statistics import Statistics
from compare.tell.words.cautions import cautions
from compare.tell.words.designs.design_words import warnings_told
from compare.tell.words.lots.comparison_words import comparison_sentences
from compare.tell.words.lots.lot_advice_words import advice_do, advice_seen
from compare.tell.words.lots.lot_decision_words import headline, sentences
from compare.tell.words.lots.run_rule_words import signal_words
from compare.tell.words.lots.sample_words import sample_answer
from compare.tell.words.lots.unused_words import lot_note, told_unused
from compare.verdict.conformity import COVERAGE, Rule


def number(x: float, digits: int = 6) -> float | None:
    """Return a number fit for JSON: rounded, None for what is not finite."""
    return round(float(x), digits) + 0.0 if math.isfinite(x) else None


def _index(index: Index | None) -> list[float | None] | None:
    return None if index is None else [number(v) for v in (index.value, index.low, index.high)]


def _indices(able: Capability | None, did: Capability | None) -> dict[str, Any]:
    return {
        "Cp": _index(able.ratio if able else None),
        "Cpk": _index(able.least if able else None),
        "Pp": _index(did.ratio if did else None),
        "Ppk": _index(did.least if did else None),
    }


def _statistics(s: Statistics, samples: tuple[Sample, ...]) -> dict[str, Any]:
    path = s.course
    return {
        "kind": s.kind,
        "unit": s.unit,
        "n": s.n,
        "limits": [number(s.low), number(s.high)],
        "mean": number(s.mean),
        "sd": number(s.sd),
        "short_sd": number(s.short_sd),
        "mean_U": number(COVERAGE * s.mean_u),
        "U": number(COVERAGE * s.u),
        "U_own": number(COVERAGE * s.own),
        "U_common": number(COVERAGE * s.common),
        **_indices(s.able, s.did),
        "normal": number(s.normality.chance),
        "interval": [number(v) for v in s.interval],
        "outside": s.outside,
        "failing": s.failing,
        "share_outside": number(s.share),
        "share_outside_range": [number(v) for v in s.share_range],
        "measuring_sd": number(s.measuring),
        "share_outside_true": number(s.true_share),
        "course": {
            "kind": path.kind,
            "since": samples[s.samples[path.start]].name if path.changed else None,
            "change": number(path.change),
            "chance": number(path.chance),
            "matters": s.drifts,
        },
        "signals": [
            {
                "rule": x.rule,
                "words": signal_words(x),
                "first": samples[s.samples[x.first]].name,
                "last": samples[s.samples[x.last]].name,
            }
            for x in s.signals
        ],
        "subgroups": None
        if s.subgroups is None
        else {
            "column": s.subgroups.column,
            "names": list(s.subgroups.names),
            "size": s.subgroups.size,
            "sd": number(s.subgroups.sd),
            "means": [number(v) for v in s.subgroups.means.values],
            "mean_limits": [number(s.subgroups.means.lower[0]), number(s.subgroups.means.upper[0])],
            "spread_kind": s.subgroups.spread.kind,
            "spread": [number(v) for v in s.subgroups.spread.values],
            "spread_limits": [number(s.subgroups.spread.lower[0]), number(s.subgroups.spread.upper[0])],
        },
        "groups": {
            g.column: {
                "chance": number(g.chance),
                "means": {x.label: {"mean": number(x.mean), "n": x.n} for x in g.groups},
            }
            for g in s.groupings
        },
    }


def _sample(s: Sample, rule: Rule) -> dict[str, Any]:
    return {
        "name": s.name,
        "made_at": s.made_at,
        "labels": dict(s.labels),
        "photos": list(s.photos),
        "verdict": s.verdict.value if s.verdict else None,
        "by_photo": s.by_photo.value if s.by_photo else None,
        "answer": sample_answer(s, rule),
        "readings": {
            name: {
                "deviation": number(r.deviation),
                "U": number(COVERAGE * r.u),
                "U_common": number(COVERAGE * r.common),
                "limits": [number(r.low), number(r.high)],
            }
            for name, r in s.readings.items()
        },
    }


def _decision(a: Assessment) -> dict[str, Any]:
    d = a.decision
    plan, risks, by = d.plan, d.risks, d.by_variables
    return {
        "word": d.word,
        "stop": d.stop,
        "headline": headline(d, a.samples),
        "sentences": sentences(d, a.samples),
        "counts": {
            "conforming": d.counts.conforming,
            "failing": d.counts.failing,
            "open": d.counts.open,
            "unusable": d.counts.unusable,
        },
        "share": [number(v) for v in d.share],
        "plan": None
        if plan is None
        else {
            "size": plan.size,
            "n": plan.n,
            "accept": plan.accept,
            "reject": plan.reject,
            "aql": plan.aql,
            "severity": plan.severity,
        },
        "risks": None
        if risks is None
        else {
            "producer": number(risks.producer),
            "consumer_share": number(risks.consumer_share),
            "good_share": number(risks.good_share),
        },
        "by_variables": None
        if by is None
        else {"n": by.n, "k": number(by.k), "too_near": list(by.too_near), "unsure": list(by.unsure)},
        "left_aside": list(d.left_aside),
    }


def _comparison(a: Assessment) -> dict[str, Any] | None:
    c = a.comparison
    if c is None:
        return None
    return {
        "masters": list(c.masters),
        "own_sd": number(c.own),
        "sentences": comparison_sentences(a),
        "taken_off": {x.name: {"shift": number(x.shift), "U": number(COVERAGE * x.u)} for x in c.corrections},
    }


def assessment_dict(a: Assessment) -> dict[str, Any]:
    """Return the assessment as documented above."""
    return {
        "lot": a.lot,
        "title": a.spec.title,
        "spec": {"name": a.spec.source.name, "sha256": a.spec.source.sha256},
        "version": a.version,
        "settings": a.checking.as_dict(),
        "decision": _decision(a),
        "comparison": _comparison(a),
        "samples": [_sample(s, a.checking.rule) for s in a.samples],
        "statistics": {s.name: _statistics(s, a.samples) for s in a.statistics},
        "causes": [
            {
                "name": c.name,
                "samples": list(c.which),
                "mean_mm": number(c.mean_mm),
                "lean_deg": number(c.lean_deg),
            }
            for c in a.causes
        ],
        "advice": [{"seen": advice_seen(x, a.samples), "do": advice_do(x)} for x in a.advice],
        "cautions": list(cautions(cuts=a.cuts)),
        "problems": [{"photo": name, "reason": reason} for name, reason in told_unused(a.problems)],
        "notes": [*warnings_told(a.spec), *map(lot_note, a.notes)],
    }
