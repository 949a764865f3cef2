"""The report of a lot: one HTML file with everything in it, the decision first."""

import base64
import io
import math
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Any, Final

import jinja2
from markupsafe import Markup
from PIL import Image

from compare.jobs.check_dummy import Inspection
from compare.lot.assess_lot import Assessment
from compare.lot.charts.control_charts import individuals
from compare.lot.run.samples import Sample
from compare.lot.study.capability import Index
from compare.lot.study.lot_statistics import Statistics, Subgroups, label_columns
from compare.lot.worst_samples import worst_samples
from compare.tell.check.annotated_photo import annotated
from compare.tell.draw.verdict_marks import verdict_mark
from compare.tell.draw.web_page import page_head
from compare.tell.lot import lot_bars as bars
from compare.tell.lot import lot_charts as charts
from compare.tell.lot.lot_text import course_words, limits_words
from compare.tell.result_files import LOT_REPORT, write_whole
from compare.tell.words.cautions import cautions
from compare.tell.words.design_words import warnings_told
from compare.tell.words.lots.lot_advice_words import advice_do, advice_seen
from compare.tell.words.lots.lot_decision_words import headline, sentences
from compare.tell.words.lots.lot_words import capital, listed, percent
from compare.tell.words.lots.run_rule_words import signal_words
from compare.tell.words.lots.unused_words import lot_note, told_unused
from compare.tell.words.name_words import spoken
from compare.tell.words.verdict_words import RULES
from compare.verdict.conformity import Rule, Verdict

PICTURE_WIDTH: Final = 1100  # px
BADGES: Final = {
    "accept": {"css": "good", "sign": "✓", "text": "accept"},
    "do not accept": {"css": "bad", "sign": "✗", "text": "do not accept"},
    "undecided": {"css": "unsure", "sign": "?", "text": "undecided"},
}
STOP: Final = {"css": "bad", "sign": "✗", "text": "stop the line"}
CSS: Final = {Verdict.CONFORMS: "good", Verdict.FAILS: "bad", Verdict.OPEN: "unsure"}
SIGN: Final = {Verdict.CONFORMS: "✓", Verdict.FAILS: "✗", Verdict.OPEN: "?"}


def page_file(room: str, name: str) -> str:
    """Return the text of a file that belongs to the pages of a room of `compare.tell`."""
    return resources.files(f"compare.tell.{room}").joinpath("page", name).read_text(encoding="utf-8")


def render(template: str, values: Mapping[str, Any]) -> str:
    """Fill a template; everything is escaped that is not marked as safe."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=False, lstrip_blocks=True
    )
    style = page_file("check", "report.css") + page_file("lot", "lot.css")
    head = page_head(template.split(".")[0] + " report", style=style)
    return environment.from_string(page_file("lot", template)).render(css=Markup(style), head=head, **values)


def _number(x: float, digits: int = 2) -> str:
    return f"{x:.{digits}f}" if math.isfinite(x) else "–"


def _index(index: Index | None, *, interval: bool = False) -> str:
    if index is None or math.isnan(index.value):
        return "–"
    return f"{index.value:.2f}" + (f" ({index.low:.2f} to {index.high:.2f})" if interval else "")


def _row(s: Statistics, names: Sequence[str]) -> dict[str, Any]:
    share = percent(s.share)
    if math.isfinite(s.true_share):
        share += f" ({percent(s.true_share)})"
    return {
        "name": s.name,
        "bad": s.failing > 0 or s.drifts,
        "cells": [
            s.n,
            f"{s.mean:+.2f}",
            _number(s.sd),
            limits_words(s),
            s.outside,
            s.failing,
            _index(s.able.ratio if s.able else None),
            _index(s.able.least if s.able else None),
            _index(s.did.ratio if s.did else None),
            _index(s.did.least if s.did else None, interval=True),
            f"{s.interval[0]:+.2f} to {s.interval[1]:+.2f}",
            share,
            course_words(s, names),
        ],
    }


def _signal_words(s: Statistics, samples: Sequence[Sample]) -> str:
    where: dict[str, list[str]] = {}
    for x in s.signals:
        first, last = (samples[s.samples[k]].name for k in (x.first, x.last))
        where.setdefault(signal_words(x), []).append(first if first == last else f"{first} to {last}")
    if not where:
        return "No run rule speaks."
    told = [f"{words} ({', '.join(at[:6])}{' …' if len(at) > 6 else ''})" for words, at in where.items()]
    return "Run rules: " + "; ".join(told) + "."


def _course_charts(a: Assessment) -> list[dict[str, Any]]:
    """Charts of what is worth a look: what changed, what fails, else the tightest length."""
    rule = _rule(a)
    lengths = [s for s in a.statistics if s.kind == "length"]
    telling = [s for s in a.statistics if s.drifts and s.kind in ("length", "lean")]
    telling += [s for s in lengths if (s.failing or s.off or s.spreads) and s not in telling]
    if not telling and lengths:
        telling = [max(lengths, key=lambda s: (abs(s.mean) + 3 * s.sd) / s.half)]
    names = [x.name for x in a.samples]
    out: list[dict[str, Any]] = []
    for s in telling[:6]:
        words = f"{capital(course_words(s, names))}. {_signal_words(s, a.samples)}"
        out.append({"title": capital(s.name), "svg": charts.run_chart(s, a.samples, rule), "words": words})
        if s.subgroups is not None:
            out += _subgroup_charts(s, s.subgroups)
    return out


def _range_charts(a: Assessment) -> list[dict[str, Any]]:
    """Charts of the moving ranges of every length: whether the spread from piece to piece holds."""
    out = []
    for s in a.statistics:
        if s.kind != "length" or s.chart is None:
            continue
        chart = individuals(s.values)[1]
        at = [a.samples[i].name for i in s.samples]
        names = [f"samples {x} and {y}" for x, y in zip(at, at[1:], strict=False)]
        beyond = [names[k] for k in chart.outside]
        out.append(
            {
                "title": capital(s.name),
                "svg": charts.control_chart(s, chart, names, design=False, shown=at[1:]),
                "words": f"Beyond the control limit: {listed(beyond)}." if beyond else "None is beyond it.",
            }
        )
    return out


def _subgroup_charts(s: Statistics, sub: Subgroups) -> list[dict[str, Any]]:
    """Charts of means of subgroups and of the spread within them; a diamond is beyond the control limits."""
    spread = {"ranges": "range", "standard deviations": "standard deviation"}[sub.spread.kind]
    left_out = f" {sub.left_out} samples of incomplete groups are left out." if sub.left_out else ""
    titles = (f"mean by {sub.column}", f"{spread} within {sub.column}")
    out = []
    for which, chart, title in zip(("means", "spread"), (sub.means, sub.spread), titles, strict=True):
        beyond = [sub.names[k] for k in chart.outside]
        out.append(
            {
                "title": f"{capital(s.name)}: {title}",
                "svg": charts.subgroup_chart(s, sub, "means" if which == "means" else "spread"),
                "words": (
                    f"Beyond the control limits: {listed(beyond)}." if beyond else "None is beyond them."
                )
                + f" {sub.size} samples each.{left_out}",
            }
        )
    return out


def _histograms(a: Assessment) -> list[dict[str, Any]]:
    return [
        {
            "title": capital(s.name),
            "svg": bars.histogram(s),
            "words": f"Normal distribution: chance {_number(s.normality.chance, 3)} (Anderson-Darling)."
            if math.isfinite(s.normality.chance)
            else "Too few samples to test for a normal distribution.",
        }
        for s in a.statistics
        if s.kind == "length" and s.sd > 0
    ]


def _groups(a: Assessment) -> dict[str, Any] | None:
    lengths = [s for s in a.statistics if s.kind == "length" and s.groupings]
    if not lengths:
        return None
    columns = list(dict.fromkeys(g.column for s in lengths for g in s.groupings))
    shown = [
        {
            "title": f"{capital(s.name)} by {g.column}",
            "svg": bars.group_chart(s, g),
            "words": f"Chance {_chance(g.chance)}. Bars: 95 % intervals of the means.",
        }
        for s in lengths
        for g in s.telling_groups(len(lengths))
    ]
    rows = []
    for s in lengths:
        by = {g.column: g.chance for g in s.groupings}
        rows.append({"name": s.name, "cells": [_chance(by.get(c, math.nan)) for c in columns]})
    return {"shown": shown, "columns": columns, "rows": rows}


def _chance(p: float) -> str:
    return "as another" if math.isnan(p) else "under 0.001" if p < 0.001 else f"{p:.3f}"


def _rule(a: Assessment) -> Rule:
    return a.checking.rule


def _picture(inspection: Inspection | None) -> str:
    """Return the annotated photo of a sample as a data address; "" if its photos are gone."""
    if inspection is None:
        return ""
    image = Image.fromarray(annotated(inspection))
    height = round(image.height * PICTURE_WIDTH / image.width)
    out = io.BytesIO()
    image.resize((PICTURE_WIDTH, height), Image.Resampling.LANCZOS).save(out, "JPEG", quality=82)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()


def _worst(a: Assessment, looked: Mapping[str, Inspection]) -> list[dict[str, Any]]:
    out = []
    for s in worst_samples(a):
        labels = ", ".join(f"{k} {v}" for k, v in s.labels.items())
        out.append(
            {
                "name": s.name,
                "answer": s.answer,
                "picture": _picture(looked.get(s.name)),
                "words": f"{', '.join(s.photos)}"
                + (f"; {labels}" if labels else "")
                + (f"; {s.made_at.replace('T', ' ')}" if s.made_at else ""),
            }
        )
    return out


def _sample_rows(a: Assessment, columns: Sequence[str]) -> list[dict[str, Any]]:
    return [
        {
            "name": s.name,
            "made": s.made_at.replace("T", " "),
            "labels": [s.labels.get(c, "") for c in columns],
            "css": CSS[s.verdict] if s.verdict else "unsure",
            "sign": SIGN[s.verdict] if s.verdict else "–",
            "verdict": s.verdict.value if s.verdict else "no usable photo",
            "answer": s.answer,
        }
        for s in a.samples
    ]


def _record(a: Assessment, folder: Path) -> list[tuple[str, str]]:
    settings = ", ".join(f"{k} {v}" for k, v in a.checking.as_dict().items())
    return [
        ("photos", folder.name),
        ("spec", f"{a.spec.source.name}, SHA-256 {a.spec.source.sha256}"),
        ("settings", settings),
        ("decision rule", RULES[_rule(a)]),
        ("foldgauge", a.version),
        (
            "methods",
            "capability: ISO 22514-2; charts: ISO 7870-2; tolerance interval: ISO 16269-6; plan: "
            "MIL-STD-105E; course: best of constant, drift, step and late drift (BIC, permutation test)",
        ),
    ]


def _odd(a: Assessment) -> list[str]:
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


def _parts(values: Mapping[str, Any], a: Assessment) -> list[tuple[str, str]]:
    wanted = [
        ("decision", "Decision", True),
        ("tell", "What to tell", bool(a.advice)),
        ("course", "How it ran", bool(values["charts"])),
        ("causes", "Causes", bool(values["pareto"])),
        ("worst", "Worst samples", bool(values["worst"])),
        ("groups", "By group", bool(values["groups"])),
        ("lengths", "Lengths", True),
        ("risk", "Risks", bool(values["acceptance"])),
        ("samples", "Samples", True),
        ("unused", "Not used", bool(a.problems)),
        ("record", "Record", True),
    ]
    return [(key, title) for key, title, there in wanted if there]


def _risk_words(a: Assessment) -> list[str]:
    by = a.decision.by_variables
    if by is None:
        return []
    if by.too_near:
        verb = "does" if len(by.too_near) == 1 else "do"
        outcome = f"{listed([spoken(n) for n in by.too_near])} {verb} not keep this distance"
    else:
        outcome = "every length keeps this distance"
    return [
        f"Second opinion by variables, {by.n} samples: the mean should keep {by.k:.2f} standard deviations "
        f"from each limit; {outcome}. (One limit at a time, normal distribution, the measuring included in "
        "the spread.)"
    ]


def lot_report(a: Assessment, *, folder: Path, looked: Mapping[str, Inspection]) -> str:
    """Return the report as HTML text.

    Parameters
    ----------
    a : the lot. folder : of its photos. looked : sample -> inspection of those that are shown with a picture.
    """
    names = [s.name for s in a.samples]
    times = [s.made_at.replace("T", " ") for s in a.samples if s.made_at]
    measured = [s.measuring for s in a.statistics if s.kind == "length" and math.isfinite(s.measuring)]
    columns = label_columns(a.samples)
    plan = a.decision.plan
    values: dict[str, Any] = {
        "a": a,
        "problems": told_unused(a.problems),
        "notes": [*warnings_told(a.spec), *map(lot_note, a.notes)],
        "headline": headline(a.decision, a.samples),
        "sentences": sentences(a.decision, a.samples),
        "advice": [{"seen": advice_seen(x, a.samples), "do": advice_do(x)} for x in a.advice],
        "cautions": cautions(cuts=a.cuts),
        "badge": STOP if a.decision.stop else BADGES[a.decision.word],
        "counts": a.decision.counts,
        "span": f"{times[0]} to {times[-1]}" if times else "",
        "charts": _course_charts(a),
        "ranges": _range_charts(a),
        "marks": {
            key: Markup('<svg viewBox="0 0 16 16" aria-hidden="true">{}</svg>').format(
                verdict_mark(8, 8, verdict, radius=4.0)
            )
            for key, verdict in (("in", Verdict.CONFORMS), ("doubt", Verdict.OPEN), ("out", Verdict.FAILS))
        },
        "pareto": bars.pareto(a.causes, a.decision.counts.judged) if a.causes else None,
        "worst": _worst(a, looked),
        "groups": _groups(a),
        "group_title": "By " + listed(list(columns)) if columns else "",
        "rows": [_row(s, names) for s in a.statistics],
        "histograms": _histograms(a),
        "measured_spread": f"standard deviation {min(measured):.2f} to {max(measured):.2f} mm"
        if measured
        else "",
        "odd": _odd(a),
        "acceptance": bars.acceptance_chart(plan.n, plan.accept, plan.aql)
        if plan is not None and not plan.whole_lot
        else None,
        "risk_words": _risk_words(a),
        "columns": columns,
        "samples": _sample_rows(a, columns),
        "record": _record(a, folder),
    }
    values["parts"] = _parts(values, a)
    return render("lot.html.j2", values)


def write_lot_report(
    a: Assessment, path: Path, *, folder: Path, looked: Mapping[str, Inspection], replace: bool = False
) -> None:
    """Write the report; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    text = lot_report(a, folder=folder, looked=looked)
    write_whole(
        path,
        lambda temporary: temporary.write_text(text, encoding="utf-8") and None,
        LOT_REPORT,
        replace=replace,
    )
