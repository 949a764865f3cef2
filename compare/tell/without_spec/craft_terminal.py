"""A dummy judged without a spec, for a person at a terminal: the answer first, then the tables."""

from collections.abc import Sequence
from typing import TextIO

from rich.console import Console
from rich.text import Text

from compare.jobs.judge_dummy import Judgement
from compare.tell.check.check_terminal import STYLE, console_for, table_of
from compare.tell.words.cautions import GLUE, cautions
from compare.tell.words.craft_words import craft_answer, craft_notes, repair_lines
from compare.tell.words.photos.measuring_words import unseen_words
from compare.tell.words.photos.note_words import tracing_notes
from compare.verdict.conformity import Item
from compare.vocabulary import parsed


def print_judgement(judgement: Judgement, stream: TextIO) -> None:
    """Print the answer, how to mend it, the tables and the notes."""
    console, findings = console_for(stream), judgement.findings
    console.print(Text(craft_answer(findings), style=STYLE[findings.verdict]))
    console.print()
    console.print(Text(f"{judgement.tracing.photo.name}, no spec", style="dim"))
    _compared(console, "What must be alike, mm", "pair", [p.item for p in findings.pairs])
    _compared(
        console,
        "Lean of the plane to its page, degrees (+ = outer edge too high)",
        "half",
        [n.item for n in findings.leans],
    )
    _compared(console, "Sums that must agree to shut flat, mm", "sum", findings.sums)
    lengths = table_of("Lengths, mm (as built)", "length", "measured", "±U")
    for f in judgement.tracing.lengths:
        lengths.add_row(f.name, f"{f.value:.2f}", f"{f.expanded:.2f}")
    console.print(lengths)
    console.print()
    todo = repair_lines(findings)
    if todo:
        _list(console, "What to do", [*todo, *cautions(cuts=findings.cuts), GLUE])
    gone = judgement.tracing.profile.undetermined
    _list(
        console,
        "Not determined by this photo",
        [*findings.unseen, *(f"{joint}: {unseen_words(why)}" for joint, why in gone.items())],
    )
    _list(console, "Notes", [*craft_notes(judgement), *tracing_notes(judgement.tracing)])


def _compared(console: Console, title: str, head: str, items: Sequence[Item]) -> None:
    if not items:
        return
    table = table_of(title, head, "off by", "±U", "limit", "")
    for i in items:
        name = parsed(i.name).side if i.unit == "deg" else i.name
        verdict = Text(i.verdict.value, style=STYLE[i.verdict])
        table.add_row(name, f"{i.measured:+.2f}", f"{i.expanded:.2f}", f"±{i.high:.2f}", verdict)
    console.print(table)
    console.print()


def _list(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        console.print(Text(title, style="bold"))
        for line in lines:
            console.print(Text(f"  - {line}"))
        console.print()
