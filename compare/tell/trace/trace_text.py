"""A dummy measured without a spec, for a person at a terminal and for a spreadsheet."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from rich.text import Text

from compare.jobs.measure_dummy import Figure, Tracing
from compare.tell.check.budget_table import print_budgets
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.result_files import TRACED_TABLE, write_whole
from compare.tell.table_cells import plain_row
from compare.tell.words.photos.measuring_words import unseen_words
from compare.tell.words.photos.note_words import tracing_notes
from compare.tell.words.photos.traced_words import traced_headline
from compare.tell.words.verdict_words import by_hand_words

COLUMNS = ("kind", "name", "unit", "measured", "U", "remark")


def print_tracing(tracing: Tracing, stream: TextIO, *, budget: bool = False) -> None:
    """Print what was recognised, the lengths, the angles and the notes."""
    console = console_for(stream)
    console.print(Text(traced_headline(tracing), style="bold"))
    console.print()
    console.print(Text(f"{tracing.photo.name}, no spec", style="dim"))
    for title, figures in (("Lengths, mm", tracing.lengths), ("Angles, degrees", tracing.angles)):
        table = table_of(title, "name", "measured", "±U")
        for f in figures:
            hand = " (hand)" if f.by_hand else ""
            table.add_row(f.name + hand, f"{round(f.value, 2) + 0.0:.2f}", f"{f.expanded:.2f}")
        console.print(table)
        console.print()
    console.print(
        Text("  fold, leg: to their own page; lean: + = outer edge of the plane too high", style="dim")
    )
    console.print()
    if budget:
        print_budgets(tracing.budgets, stream)
    gone = tracing.profile.undetermined
    _list(
        console.print,
        "Not determined by this photo",
        [f"{joint}: {unseen_words(why)}" for joint, why in gone.items()],
    )
    _list(console.print, "Notes", tracing_notes(tracing))


def _list(put: "object", title: str, lines: Sequence[str]) -> None:
    if lines and callable(put):
        put(Text(title, style="bold"))
        for line in lines:
            put(Text(f"  - {line}"))
        put()


def _row(kind: str, f: Figure) -> dict[str, str]:
    return {
        "kind": kind,
        "name": f.name,
        "unit": f.unit,
        "measured": f"{f.value:.4f}",
        "U": f"{f.expanded:.4f}",
        "remark": by_hand_words(f.by_hand),
    }


def tracing_csv(tracing: Tracing) -> str:
    """Return lengths and angles as CSV text (RFC 4180), with a heading row."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(plain_row(_row("length", f)) for f in tracing.lengths)
    writer.writerows(plain_row(_row("angle", f)) for f in tracing.angles)
    return out.getvalue()


def write_tracing_csv(tracing: Tracing, path: Path, *, replace: bool = False) -> None:
    """Write the table; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    text = tracing_csv(tracing)
    write_whole(
        path, lambda temporary: temporary.write_bytes(text.encode("utf-8")), TRACED_TABLE, replace=replace
    )
