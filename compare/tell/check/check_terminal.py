"""The result for a person at a terminal: the answer, what to do, and tables of what does not conform.

The full tables, and what was seen and assumed, follow where they are asked for. Tables fit 60 columns.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final, TextIO

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from compare.cause.lean import Leaning
from compare.cure.plans import Remedy
from compare.tell.draw.verdict_marks import SIGN
from compare.tell.words.answer import also, answer, runner_up
from compare.tell.words.cautions import repair_cautions
from compare.tell.words.designs.design_words import warnings_told
from compare.tell.words.next_steps import next_steps, photo_steps, unlikely
from compare.tell.words.plain_words import capital, chance, listed
from compare.tell.words.reason_words import unseen
from compare.tell.words.repair_words import steps
from compare.tell.words.shut_words import binding_sentence, overhang_sentence
from compare.tell.words.symptom_words import symptom_sentences
from compare.tell.words.verdict_words import remark_words
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings
from compare.vocabulary import Kind, Told, parsed

STYLE: Mapping[Verdict, str] = {
    Verdict.CONFORMS: "green",
    Verdict.FAILS: "bold red",
    Verdict.OPEN: "yellow",
}
PLAIN_WIDTH: Final = 110  # columns when the output is not a terminal
WORDY: Final = 80  # columns from which a verdict stands in words, not as a sign
MOST_ROWS: Final = 10  # of the short table
SHARES: Final = 4  # lengths told that make a half lean
LEAST_SHARE: Final = 0.05  # degrees


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


def table_of(title: str, *columns: str, wraps: bool = False) -> Table:
    """Return an empty table, its first column left-aligned and the others right.

    Parameters
    ----------
    wraps : whether names too long for the terminal go on in a second line.
    """
    table = Table(
        title=title,
        box=SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
    )
    for i, name in enumerate(columns):
        table.add_column(
            name, justify="left" if i == 0 or name == "" else "right", no_wrap=bool(i) or not wraps
        )
    return table


def _verdict(item: Item, console: Console) -> Text:
    words = item.verdict.value if console.width >= WORDY else SIGN[item.verdict]
    return Text(words, style=STYLE[item.verdict])


def _limits(item: Item, shown: str) -> str:
    return f"±{shown}" if math.isfinite(item.low) else f"≤ {shown}"


def lengths_table(items: Sequence[Item], unit: Unit, console: Console) -> Table:
    """Return the table of lengths."""
    columns = ("length", "nominal", "measured", "±U", "off by", "limit", "")
    table = table_of(f"Lengths, {unit.name}", *columns, wraps=console.is_terminal)
    for i in items:
        table.add_row(
            f"{i.name} (hand)" if i.by_hand else i.name,
            unit.number(i.nominal),
            unit.number(i.measured),
            unit.number(i.expanded),
            unit.signed(i.deviation),
            _limits(i, unit.number(i.high)),
            _verdict(i, console),
        )
    return table


def differences_table(title: str, first: str, items: Sequence[Item], unit: Unit, console: Console) -> Table:
    """Return a table of what items are off by: lengths, pairs, and leans in degrees."""
    table = table_of(title, first, "off by", "±U", "limit", "", wraps=console.is_terminal)
    for i in items:
        if i.unit == "deg":
            off, known, high = f"{round(i.deviation, 2) + 0.0:+.2f}°", f"{i.expanded:.2f}", f"{i.high:.2f}"
        else:
            off, known, high = (
                f(v)
                for f, v in zip(
                    (unit.signed, unit.number, unit.number), (i.deviation, i.expanded, i.high), strict=True
                )
            )
        name = f"{i.name} (hand)" if i.by_hand else i.name
        table.add_row(name, off, known, _limits(i, high), _verdict(i, console))
    return table


def lean_table(leans: Sequence[Leaning], console: Console) -> Table:
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
        wraps=console.is_terminal,
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
            _verdict(i, console),
        )
    return table


def clearance_table(items: Sequence[Item], unit: Unit, console: Console) -> Table:
    """Return the table of clearances at the fore edges when shut."""
    table = table_of(f"Shut: clearance at the fore edge, {unit.name}", "side", "clearance", "±U", "least", "")
    for i in items:
        table.add_row(
            parsed(i.name).side,
            unit.number(i.measured),
            unit.number(i.expanded),
            unit.number(i.nominal + i.low),
            _verdict(i, console),
        )
    return table


def _shares(leaning: Leaning, unit: Unit) -> str:
    """Return what makes a half lean, largest first, in one line."""
    parts = [
        f"{c.length} {unit.signed(c.deviation_mm)} {unit.name} makes {c.exact_deg:+.2f}"
        for c in leaning.contributions
        if abs(c.exact_deg) >= LEAST_SHARE
    ]
    return "; ".join(parts[:SHARES])


def _then(remedy: Remedy, unit: Unit, *, full: bool) -> str:
    """Say what a plan leads to; "" if that is not known."""
    lean = ", ".join(
        f"{parsed(i.name).about} {round(i.measured, 1) + 0.0:+.1f} ± {i.expanded:.1f}" for i in remedy.leans
    )
    if not lean:
        return ""
    sums = ", ".join(f"{s} {unit.signed(v)}" for s, v in remedy.closing_after_mm.items())
    after = f"Then it leans {lean} degrees" + (f"; closing sum {sums} {unit.name}" if sums and full else "")
    sure = f"; chance that all is then as asked for: {chance(remedy.probability)}"
    return f"{after}{sure}."


def _entries(console: Console, entries: Sequence[tuple[str, str]]) -> None:
    """Print entries, each with what stands before it; on a terminal a second line lies under the first."""
    grid = Table.grid(padding=(0, 1))
    for before, line in entries:
        if console.is_terminal:
            grid.add_row(f"{before:>4}", Text(line))
        else:  # one line each, for grep
            console.print(Text(f"{before:>3} {line}"))
    if console.is_terminal:
        console.print(grid)


def _bullets(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        console.print(Text(title, style="bold"))
        _entries(console, [("-", line) for line in lines])
        console.print()


def _what_to_do(console: Console, findings: Findings, unit: Unit, *, full: bool) -> None:
    """Print the plans and what else to do; where no plan is likely to be enough, they come last."""
    after = [("-", line) for line in next_steps(findings)]
    plans: list[tuple[str, str]] = []
    for k, remedy in enumerate(findings.remedies):
        moves = steps(remedy, unit)
        plans.append(("1." if k == 0 else "or", moves[0]))
        plans += [("", move) for move in moves[1:]]
        then = _then(remedy, unit, full=full)
        plans += [("", then)] if then else []
    console.print(Text("What to do", style="bold"))
    if unlikely(findings):
        _entries(console, after)
        if plans:
            console.print()
            console.print(Text("Repairs, none of them likely to be enough", style="bold"))
            _entries(console, plans)
    else:
        _entries(console, [*plans, *after])
    _entries(console, [("!", line) for line in repair_cautions(findings.remedies)])
    console.print()


def _not_conforming(console: Console, findings: Findings, unit: Unit) -> None:
    """Print what does not conform and what is in doubt, and how much conforms."""
    worst = sorted(
        (i for i in findings.items if i.verdict is not Verdict.CONFORMS),
        key=lambda i: (i.verdict is not Verdict.FAILS, i.probability),
    )
    shut = [i for i in worst if parsed(i.name).told == Told.CLEARANCE]
    other = [i for i in worst if i not in shut]
    if other:
        shown = other[:MOST_ROWS]
        console.print(differences_table(f"Not as designed, {unit.name}", "what", shown, unit, console))
        if len(other) > len(shown):
            console.print(Text(f"  and {len(other) - len(shown)} more in doubt", style="dim"))
    if shut:
        console.print()
        console.print(clearance_table(shut, unit, console))
    if worst and console.width < WORDY:
        signs = ", ".join(f"{SIGN[v]} {v.value}" for v in dict.fromkeys(i.verdict for i in worst))
        console.print(Text(f"  {signs}", style="dim"))
    good = len(findings.items) - len(worst)
    console.print(Text(f"  {good} of {len(findings.items)} figures conform; --full shows all.", style="dim"))
    console.print()


def _all_tables(console: Console, findings: Findings, unit: Unit) -> None:
    """Print all figures."""
    console.print(lengths_table(findings.lengths, unit, console))
    console.print()
    console.print(differences_table(f"Matched pairs, {unit.name}", "pair", findings.pairs, unit, console))
    console.print()
    if findings.leans:
        console.print(lean_table(findings.leans, console))
        console.print(Text("  solved: from the measured lengths; rest: what no length explains", style="dim"))
        console.print()
    for n in findings.leans:
        shares = _shares(n, unit)
        if n.item.verdict is not Verdict.CONFORMS and shares:
            console.print(Text(f"  {n.side}: {shares} degrees"))
            console.print()
    console.print(clearance_table(findings.clearances, unit, console))
    console.print()
    for i in findings.clearances:
        console.print(Text(f"  {parsed(i.name).side}: {remark_words(i, unit)}", style="dim"))
    told = [binding_sentence(findings.binding)] if findings.binding is not None else []
    for line in (*told, *(overhang_sentence(o, unit) for o in findings.overhangs)):
        console.print(Text(f"  {line}", style="dim"))
    console.print()


def print_findings(
    findings: Findings, stream: TextIO, notes: Sequence[str] = (), origin: str = "", *, full: bool = False
) -> None:
    """Print the result; the first line is the answer.

    Parameters
    ----------
    notes : on the photos and what was assumed. origin : of the result: photos and design.
    full : with all tables and notes.
    """
    console = console_for(stream)
    unit = unit_of(findings.spec.units)
    console.print(Text(answer(findings), style=STYLE[findings.verdict]))
    for line in (*also(findings), runner_up(findings)):
        if line:
            console.print(Text(line))
    console.print()
    _what_to_do(console, findings, unit, full=full)
    if origin:
        console.print(Text(origin, style="dim"))
    if full:
        _all_tables(console, findings, unit)
    else:
        _not_conforming(console, findings, unit)
    _bullets(console, "Seen beside the lengths", symptom_sentences(findings.symptoms, unit))
    not_seen = unseen(findings.undetermined, unit)
    if full:
        _bullets(console, "Not determined by this photo", [*not_seen, *photo_steps(findings)])
        said = [capital(n) for n in dict.fromkeys((*warnings_told(findings.spec), *notes))]
        _bullets(console, "Notes", said)
        return
    names = [k for k in findings.undetermined if parsed(k).kind != Kind.PAGE]
    if names:
        unknown = [f"{listed(names)}; --full says why.", *photo_steps(findings)]
        _bullets(console, "Not determined by this photo", unknown)
