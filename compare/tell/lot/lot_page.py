"""The report of a lot: one HTML file with everything in it, the decision first."""

import math
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

import jinja2
from markupsafe import Markup

from compare.jobs.check_dummy import Inspection
from compare.lot.assess_lot import Assessment
from compare.lot.study.sample_groups import label_columns
from compare.tell.draw.verdict_marks import verdict_mark
from compare.tell.draw.web_page import page_head
from compare.tell.lot import lot_bars as bars
from compare.tell.lot.lot_figures import (
    course_figures,
    group_figures,
    histogram_figures,
    range_figures,
    worst_figures,
)
from compare.tell.lot.lot_tables import (
    ABLE_HEADS,
    LENGTH_HEADS,
    able_row,
    cares,
    group_table,
    length_row,
    record_rows,
    sample_rows,
)
from compare.tell.result_files import LOT_REPORT, write_whole
from compare.tell.words.cautions import cautions
from compare.tell.words.designs.design_words import warnings_told
from compare.tell.words.lots.comparison_words import comparison_sentences
from compare.tell.words.lots.lot_advice_words import advice_do, advice_seen
from compare.tell.words.lots.lot_decision_words import headline, sentences
from compare.tell.words.lots.unused_words import lot_note, told_unused
from compare.tell.words.name_words import spoken
from compare.tell.words.plain_words import listed
from compare.verdict.conformity import Verdict

BADGES: Final = {
    "accept": {"css": "good", "sign": "✓", "text": "accept"},
    "do not accept": {"css": "bad", "sign": "✗", "text": "do not accept"},
    "undecided": {"css": "unsure", "sign": "?", "text": "undecided"},
}
STOP: Final = {"css": "bad", "sign": "✗", "text": "stop the line"}


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
        "sentences": [*sentences(a.decision, a.samples), *comparison_sentences(a)],
        "advice": [{"seen": advice_seen(x, a.samples), "do": advice_do(x)} for x in a.advice],
        "cautions": cautions(cuts=a.cuts),
        "badge": STOP if a.decision.stop else BADGES[a.decision.word],
        "counts": a.decision.counts,
        "span": f"{times[0]} to {times[-1]}" if times else "",
        "charts": course_figures(a),
        "ranges": range_figures(a),
        "marks": {
            key: Markup('<svg viewBox="0 0 16 16" aria-hidden="true">{}</svg>').format(
                verdict_mark(8, 8, verdict, radius=4.0)
            )
            for key, verdict in (("in", Verdict.CONFORMS), ("doubt", Verdict.OPEN), ("out", Verdict.FAILS))
        },
        "pareto": bars.pareto(a.causes, a.decision.counts.judged) if a.causes else None,
        "worst": worst_figures(a, looked),
        "groups": group_table(a),
        "group_figures": group_figures(a),
        "group_title": "By " + listed(list(columns)) if columns else "",
        "heads": LENGTH_HEADS,
        "rows": [length_row(s, names, a.decision.left_aside) for s in a.statistics],
        "able_heads": ABLE_HEADS,
        "able": [able_row(s) for s in a.statistics],
        "histograms": histogram_figures(a),
        "measured_spread": f"standard deviation {min(measured):.2f} to {max(measured):.2f} mm"
        if measured
        else "",
        "odd": cares(a),
        "acceptance": bars.acceptance_chart(plan.n, plan.accept, plan.aql)
        if plan is not None and not plan.whole_lot
        else None,
        "risk_words": _risk_words(a),
        "columns": columns,
        "samples": sample_rows(a, columns),
        "record": record_rows(a, folder),
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
