"""The result for a person at a terminal: the answer first, then the tables."""

import math
from collections.abc import Mapping, Sequence
from typing import TextIO

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from compare.cause.lean import Leaning
from compare.tell.words.answer import also, answer, runner_up
from compare.tell.words.cautions import cautions
from compare.tell.words.design_words import warnings_told
from compare.tell.words.next_steps import next_steps
from compare.tell.words.reason_words import unseen
from compare.tell.words.repair_words import remedy_text
from compare.tell.words.shut_words import binding_sentence, overhang_sentence
from compare.tell.words.symptom_words import symptom_sentences
from compare.tell.words.verdict_words import remark_words
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings
from compare.vocabulary import Kind, Told, named, parsed
from measure.sides import SIDES

STYLE: Mapping[Verdict, str] = {
    Verdict.CONFORMS: "green",
    Verdict.FAILS: "bold red",
    Verdict.OPEN: "yellow",
}
PLAIN_WIDTH = 110  # columns when the output is not a terminal


class _Console(Console):
    """A console that leaves it to the command line what a reader who has gone means."""

    def on_broken_pipe(self) -> None:
        """Raise what the stream raised."""
        raise BrokenPipeError


def console_for(stream: TextIO) -> Console:
    """Return a console for a stream: colours on a terminal, plain text elsewhere."""
    if stream.isatty():
        return _Console(file=stream, highlight=False)
    return _Console(file=stream, highlight=False, color_system=None, width=PLAIN_WIDTH, soft_wrap=True)


def table_of(title: str, *columns: str) -> Table:
    """Return an empty table, its first column left-aligned and the others right."""
    table = Table(
        title=title,
        box=SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
    )
    for i, name in enumerate(columns):
        table.add_column(name, justify="left" if i == 0 or name == "" else "right", no_wrap=True)
    return table


def _verdict(item: Item) -> Text:
    return Text(item.verdict.value, style=STYLE[item.verdict])


def _limits(item: Item, shown: str) -> str:
    return f"±{shown}" if math.isfinite(item.low) else f"≤ {shown}"


def lengths_table(items: Sequence[Item], unit: Unit) -> Table:
    """Return the table of lengths."""
    table = table_of(f"Lengths, {unit.name}", "length", "nominal", "measured", "±U", "off by", "limit", "")
    for i in items:
        table.add_row(
            f"{i.name} (hand)" if i.by_hand else i.name,
            unit.number(i.nominal),
            unit.number(i.measured),
            unit.number(i.expanded),
            unit.signed(i.deviation),
            _limits(i, unit.number(i.high)),
            _verdict(i),
        )
    return table


def pairs_table(items: Sequence[Item], unit: Unit) -> Table:
    """Return the table of matched pairs: differences."""
    table = table_of(f"Matched pairs, {unit.name}", "pair", "off by", "±U", "limit", "")
    for i in items:
        table.add_row(
            i.name,
            unit.signed(i.deviation),
            unit.number(i.expanded),
            _limits(i, unit.number(i.high)),
            _verdict(i),
        )
    return table


def lean_table(leans: Sequence[Leaning]) -> Table:
    """Return the table of leans: measured, from the lengths, and what is left."""
    table = table_of(
        "Lean of the plane to its page, degrees (+ = outer edge too high)",
        "half",
        "design",
        "measured",
        "±U",
        "limit",
        "solved",
        "rest",
        "",
    )
    for n in leans:
        i = n.item
        table.add_row(
            n.side,
            f"{i.nominal + 0.0:.2f}",
            f"{round(i.measured, 2) + 0.0:+.2f}",
            f"{i.expanded:.2f}",
            f"±{i.high:.2f}",
            "-" if math.isnan(n.solved_deg) else f"{round(n.solved_deg, 2) + 0.0:+.2f}",
            "-" if math.isnan(n.remainder_deg) else f"{round(n.remainder_deg, 2) + 0.0:+.2f}",
            _verdict(i),
        )
    return table


def clearance_table(items: Sequence[Item], unit: Unit) -> Table:
    """Return the table of clearances at the fore edges when shut."""
    table = table_of(f"Shut: clearance at the fore edge, {unit.name}", "side", "clearance", "±U", "least", "")
    for i in items:
        table.add_row(
            parsed(i.name).side,
            unit.number(i.measured),
            unit.number(i.expanded),
            unit.number(i.nominal + i.low),
            _verdict(i),
        )
    return table


def _shares(leaning: Leaning, unit: Unit) -> str:
    """Return what makes a half lean, largest first, in one line."""
    parts = [
        f"{c.length} {unit.signed(c.deviation_mm)} {unit.name} makes {c.exact_deg:+.2f}"
        for c in leaning.contributions
        if abs(c.exact_deg) >= 0.05
    ]
    return "; ".join(parts[:4])


def _after(findings: Findings, unit: Unit) -> list[str]:
    out: list[str] = []
    for r in findings.remedies:
        lean = ", ".join(
            f"{parsed(i.name).about} {round(i.measured, 1) + 0.0:+.1f} ± {i.expanded:.1f}" for i in r.leans
        )
        sums = ", ".join(f"{s} {unit.signed(v)}" for s, v in r.closing_after_mm.items())
        after = f"Then lean {lean} degrees" + (f"; closing sum {sums} {unit.name}" if sums else "")
        good = f"; inside tolerance: {100 * r.probability:.0f} %" if r.moves else ""
        text = remedy_text(r, unit)
        out.append(f"{text} ({after}{good}.)" if lean else text)
    return [*out, *next_steps(findings)]


def _bullets(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        console.print(Text(title, style="bold"))
        grid = Table.grid(padding=(0, 1))  # a second line of an item lies under its first
        for line in lines:
            if console.is_terminal:
                grid.add_row("  -", Text(line))
            else:  # one line each, for grep
                console.print(Text(f"  - {line}"))
        if console.is_terminal:
            console.print(grid)
        console.print()


def advice(findings: Findings) -> list[str]:
    """Return what would help to determine what this photo does not show."""
    out: list[str] = []
    if any(named(Kind.FOOT, side) in findings.undetermined for side in SIDES):
        out.append(
            "To see the spine: hang the apron (page 2 of the sheet's PDF) from the near edge of the base; or "
            "prop the spread open to 150-165 degrees, the two pages alike, and give that opening in a copy "
            "of the spec."
        )
    if any(parsed(k).told == Told.CLEARANCE for k in findings.undetermined):
        out.append("To know the clearance: keep the outer edges of the plane in the picture and unhidden.")
    return out


def print_findings(findings: Findings, stream: TextIO, notes: Sequence[str] = (), origin: str = "") -> None:
    """Print the whole result; the first line is the answer."""
    console = console_for(stream)
    unit = unit_of(findings.spec.units)
    console.print(Text(answer(findings), style=STYLE[findings.verdict]))
    for line in (*also(findings), runner_up(findings)):
        if line:
            console.print(Text(line))
    console.print()
    if origin:
        console.print(Text(origin, style="dim"))
    console.print(lengths_table(findings.lengths, unit))
    console.print()
    console.print(pairs_table(findings.pairs, unit))
    console.print()
    if findings.leans:
        console.print(lean_table(findings.leans))
        console.print(Text("  solved: from the measured lengths; rest: what no length explains", style="dim"))
        console.print()
    for n in findings.leans:
        shares = _shares(n, unit)
        if n.item.verdict is not Verdict.CONFORMS and shares:
            console.print(Text(f"  {n.side}: {shares} degrees"))
            console.print()
    console.print(clearance_table(findings.clearances, unit))
    console.print()
    for i in findings.clearances:
        console.print(Text(f"  {parsed(i.name).side}: {remark_words(i)}", style="dim"))
    console.print()
    told = [binding_sentence(findings.binding)] if findings.binding is not None else []
    for line in (*told, *(overhang_sentence(o) for o in findings.overhangs)):
        console.print(Text(f"  {line}", style="dim"))
    console.print()
    _bullets(console, "Seen beside the lengths", symptom_sentences(findings.symptoms))
    todo = _after(findings, unit)
    todo += cautions(cuts=any(r.cuts for r in findings.remedies))
    _bullets(console, "What to do", todo)
    _bullets(console, "Not determined by this photo", [*unseen(findings.undetermined), *advice(findings)])
    said = [f"{n[:1].upper()}{n[1:]}" for n in dict.fromkeys((*warnings_told(findings.spec), *notes))]
    _bullets(console, "Notes", said)
