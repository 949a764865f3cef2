"""The report: one self-contained web page, readable without a network, printable on A4."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from compare.cure.plans import Remedy
from compare.tell.check.check_json import inspection_dict
from compare.tell.check.page_drawing import drawing_figure
from compare.tell.check.page_motion import motion_figure, motion_of
from compare.tell.check.page_photo import PhotoFigure, photo_figure
from compare.tell.check.page_shut import shut_figure
from compare.tell.check.page_tables import lean_charts, rows_of
from compare.tell.draw.verdict_marks import CSS, SIGN
from compare.tell.draw.web_page import page_head
from compare.tell.motion_seen.page_openings import lean_over_opening
from compare.tell.result_files import REPORT, write_whole
from compare.tell.words.answer import also, answer, runner_up
from compare.tell.words.cause_words import cause_sentence
from compare.tell.words.cautions import repair_cautions
from compare.tell.words.designs.design_words import warnings_told
from compare.tell.words.next_steps import next_steps, photo_steps, unlikely
from compare.tell.words.photos.motion_words import motion_sentences
from compare.tell.words.photos.note_words import inspection_notes
from compare.tell.words.photos.view_words import focal_source
from compare.tell.words.plain_words import capital, chance
from compare.tell.words.reason_words import unseen
from compare.tell.words.repair_words import EFFORT, side_effects, steps
from compare.tell.words.shut_words import binding_sentence, overhang_sentence
from compare.tell.words.symptom_words import symptom_sentences
from compare.tell.words.verdict_words import RULES
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings
from compare.vocabulary import Told, parsed

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection

HERE: Final = Path(__file__).parent / "page"
RANKS: Final = ("best", "or", "or", "or")
LIKELY_CAUSES: Final = 4
LEAST_CHANCE: Final = 0.005
SAME_MM: Final = 0.01
LEVEL: Final = 0.05  # degrees; a design that leans less is level
FOOTER: Final = (
    "Measured from a photograph with a printed marker sheet. Figures hold for the near end of the dummy, at "
    "the opening of the photo."
)


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


@dataclass(frozen=True, slots=True)
class After:
    """One thing after a repair."""

    name: str
    value: str
    sign: str
    css: str


def _after(items: Sequence[Item], unit: Unit) -> list[After]:
    out = []
    for i in items:
        if i.unit == "deg":
            value = f"{round(i.measured, 1) + 0.0:+.1f}° ± {i.expanded:.1f}"
        else:
            signed = unit.number if parsed(i.name).told == Told.CLEARANCE else unit.signed
            value = f"{signed(i.measured)} ± {unit.number(i.expanded)} {unit.name}"
        out.append(After(i.name, value, SIGN[i.verdict], CSS[i.verdict]))
    return out


def _remedy(remedy: Remedy, rank: int, findings: Findings, unit: Unit) -> dict[str, Any]:
    return {
        "rank": RANKS[min(rank, len(RANKS) - 1)],
        "effort": EFFORT[remedy.effort],
        "cuts": remedy.cuts,
        "moves": steps(remedy, unit),
        "side_effects": side_effects(remedy, unit),
        "after": _after((*remedy.leans, *remedy.sums, *remedy.clearances), unit),
        "then": _then(remedy, findings, unit),
    }


def _then(remedy: Remedy, findings: Findings, unit: Unit) -> str:
    """Say what a repair leads to, in one sentence or two."""
    now = {i.name: i.measured for i in findings.clearances}
    level = ", ".join(f"{parsed(i.name).about} half {_level(i)}" for i in remedy.leans if i.unit == "deg")
    doubtful = [i for i in remedy.clearances if i.verdict is not Verdict.CONFORMS]
    short = [i for i in doubtful if abs(i.measured - now[i.name]) > SAME_MM]
    out = f"Then: {level}." if level else ""
    out += f" All is then as asked for with a chance of {chance(remedy.probability)}."
    for i in short:
        side = parsed(i.name).side
        what = "sticks out" if i.measured < 0 else "stays inside by"
        far = f"{unit.number(abs(i.measured))} ± {unit.number(i.expanded)} {unit.name}"
        least = unit.words(i.nominal + i.low)
        out += f" Shut, card {what} {far} at the {side} fore edge, where {least} is asked for."
    return out.strip()


def _level(item: Item) -> str:
    lean = f"{round(item.measured, 1) + 0.0:+.1f}° (± {item.expanded:.1f})"
    return f"level, {lean}" if item.verdict is Verdict.CONFORMS and abs(item.nominal) < LEVEL else lean


def _causes(inspection: "Inspection", unit: Unit) -> list[dict[str, str]]:
    findings = inspection.findings
    told = [c for c in findings.diagnosis.causes if c.probability >= LEAST_CHANCE or c.named]
    out = []
    for c in told[:LIKELY_CAUSES]:
        words = cause_sentence(c, unit)
        out.append({"chance": chance(c.probability), "sentence": f"{capital(words)}."})
    none = findings.diagnosis.probability_none
    if none >= LEAST_CHANCE:
        out.append({"chance": chance(none), "sentence": "No fault: only the spread of hand cutting."})
    return out


def _shut_words(inspection: "Inspection") -> list[str]:
    findings = inspection.findings
    out = []
    if findings.binding is not None:
        out.append(binding_sentence(findings.binding))
        if findings.binding.assumed:
            out.append(f"This rests on values taken from the design: {', '.join(findings.binding.assumed)}.")
    out += [overhang_sentence(o, unit_of(inspection.spec.units)) for o in findings.overhangs]
    return out


def _budget(inspection: "Inspection") -> dict[str, Any]:
    """Return the budget as a matrix: a row per quantity, a column per source."""
    budgets = inspection.budgets
    sources = list(dict.fromkeys(line.source for b in budgets for line in b.lines))
    rows = []
    for b in budgets:
        by_source = {line.source: line.u for line in b.lines}
        parts = [f"{by_source[s]:.3f}" if s in by_source else "–" for s in sources]
        rows.append({"name": b.name, "parts": parts, "u": f"{b.u:.3f}", "expanded": f"{b.expanded:.2f}"})
    return {"sources": sources, "rows": rows}


def _record(inspection: "Inspection") -> list[tuple[str, str]]:
    data = inspection_dict(inspection)
    out = []
    for shot in inspection.shots:
        width, height = shot.photo.size
        out += [
            ("photo", f"{shot.photo.name}, {width} × {height} pixels"),
            ("SHA-256 of the photo", shot.photo.sha256),
        ]
    if inspection.closed is not None:
        out += [
            ("photo of it shut", inspection.closed.name),
            ("SHA-256 of that photo", inspection.closed.sha256),
        ]
    lens = inspection.photo.lens
    camera = f"focal length: {focal_source(lens)}" if lens.focal_px else "focal length not known beforehand"
    out += [
        ("design", f"{data['spec']['name']}, written in {data['spec']['units']}"),
        ("SHA-256 of the design", data["spec"]["sha256"]),
        ("camera", f"calibrated: {inspection.camera}" if inspection.camera else camera),
        ("sheet", f"{data['sheet']['paper']}, used as {data['use']}, standoff {data['standoff_mm']:g} mm"),
        (
            "marks found",
            f"{data['sheet']['saddles']}, fitted within {data['sheet']['rms_px']:.2f} pixels rms",
        ),
        ("decision rule", f"{inspection.findings.rule.value}: {RULES[inspection.findings.rule]}"),
        ("made with", ", ".join(f"{k} {v}" for k, v in data["versions"].items())),
    ]
    return out


def _motion_words(inspection: "Inspection") -> str:
    built = inspection.findings.binding
    if built is None:
        return "Drag the slider to shut the spread. The dummy is drawn where its lengths are known."
    return f"Drag the slider to shut the spread. {binding_sentence(built)}"


def _seen_moving(inspection: "Inspection") -> dict[str, Any]:
    """Return the movement as photos at several openings show it: sentences and charts; none without them."""
    motion = inspection.motion
    if motion is None:
        return {"seen_moving": [], "opening_charts": []}
    findings, level = inspection.findings, inspection.spec.tolerance.level_deg
    return {
        "seen_moving": motion_sentences(motion, level, findings.binding),
        "opening_charts": [lean_over_opening(motion, curve, level) for curve in motion.curves],
    }


def _alt(inspection: "Inspection") -> str:
    causes = "; ".join(cause_sentence(c, unit_of(inspection.spec.units)) for c in inspection.findings.causes)
    what = f" Marked as at fault: {causes}." if causes else " Nothing is marked as at fault."
    return f"The photo, cut to the dummy, with measured panels and the design drawn over it.{what}"


def _caption(figure: PhotoFigure, unit: Unit) -> str:
    """Say what the marks in the photo tell, as far as there are any."""
    told = f"Marked: what is off, and by how much (± U, {unit.name})." if figure.faults else ""
    doubt = "Numbered: what is in doubt." if figure.listed else ""
    return " ".join(part for part in (told, doubt, "What conforms has no mark.") if part)


def page_context(inspection: "Inspection") -> dict[str, Any]:
    """Return all that the template shows."""
    findings, spec = inspection.findings, inspection.spec
    unit = unit_of(spec.units)
    remedies = findings.remedies
    advised = photo_steps(findings)
    notes = (*warnings_told(spec), *inspection_notes(inspection))
    title = spec.title or spec.source.name
    figure = photo_figure(inspection)
    style, script = ((HERE / name).read_text(encoding="utf-8") for name in ("report.css", "report.js"))
    return {
        "head": page_head("check report", style=style, script=script),
        "css": Markup(style),
        "js": Markup(script),
        "page_title": f"{title}: {findings.verdict.value}",
        "origin": f"{title} · {', '.join(s.photo.name for s in inspection.shots)} against {spec.source.name}",
        "answer": answer(findings),
        "also": [line for line in (*also(findings), runner_up(findings)) if line],
        "verdict_words": findings.verdict.value.capitalize(),
        "sign": SIGN[findings.verdict],
        "css_class": CSS[findings.verdict],
        "unit": unit.name,
        "remedies": [_remedy(r, i, findings, unit) for i, r in enumerate(remedies)],
        "remedies_lead": "Each was worked out again in the linkage; figures are what is then to be expected.",
        "cautions": repair_cautions(remedies),
        "next_steps": next_steps(findings),
        "unlikely": unlikely(findings),
        "photo": figure,
        "photo_caption": _caption(figure, unit),
        "photo_alt": _alt(inspection),
        "drawing": drawing_figure(inspection),
        "drawing_alt": "End-on drawing of the measured dummy over the design. " + answer(findings),
        "motion": motion_figure(motion_of(findings)),
        "motion_words": _motion_words(inspection),
        **_seen_moving(inspection),
        "rule_words": RULES[findings.rule],
        "lengths": rows_of(findings.lengths, unit),
        "pairs": rows_of(findings.pairs, unit),
        "leans": rows_of([n.item for n in findings.leans], None),
        "charts": lean_charts(findings),
        "symptoms": symptom_sentences(findings.symptoms, unit),
        "causes": _causes(inspection, unit),
        "causes_lead": "Weighed against all measurements together, given the usual errors of hand work.",
        "clearances": rows_of(findings.clearances, unit),
        "shut_words": _shut_words(inspection),
        "shut_photo": None if inspection.closed is None else shut_figure(inspection.closed),
        "photo_advice": advised,
        "notes": [capital(n) for n in dict.fromkeys(notes)],
        "unseen": unseen(findings.undetermined, unit),
        "budget": _budget(inspection),
        "record": _record(inspection),
        "footer": FOOTER,
    }


def report_html(inspection: "Inspection") -> str:
    """Return the page as text."""
    return _environment().get_template("report.html.jinja").render(page_context(inspection))


def write_report(inspection: "Inspection", path: str | Path, *, replace: bool = False) -> None:
    """Write the page; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    text = report_html(inspection)
    write_whole(
        Path(path), lambda temporary: temporary.write_bytes(text.encode("utf-8")), REPORT, replace=replace
    )
