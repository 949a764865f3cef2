"""The history in a ledger told: lots, or one length over all of them; charts of every length as a page."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TextIO

import numpy as np
from markupsafe import Markup
from rich.text import Text

from compare.lot.charts.drift import SHUFFLE_SEED
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_history import LotLine, Series, all_series, lots
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.lot.lot_json import number
from compare.tell.result_files import HISTORY, write_whole
from compare.tell.words.plain_words import capital

MOST_LOTS: Final = 30  # printed


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class History:
    """Lots of a ledger, and what was asked for over them."""

    place: str
    lots: tuple[LotLine, ...]
    series: tuple[Series, ...]


def read_history(ledger: Ledger, spec: str | None, length: str | None, *, every: bool) -> History:
    """Read the lots, and one length (or, for a page, every one)."""
    wanted = length is not None or every
    rng = np.random.default_rng(SHUFFLE_SEED)
    return History(
        place=Path(ledger.place).name if "://" not in ledger.place else "database",
        lots=lots(ledger, spec),
        series=all_series(ledger, rng, spec, only=length) if wanted else (),
    )


def lots_words(count: int) -> str:
    """Return "1 lot", "2 lots"."""
    return f"{count} lot{'' if count == 1 else 's'}"


def course_of(s: Series) -> str:
    """Return how a length runs over the lots, in a sentence."""
    if not s.course.changed:
        return f"steady over {s.total} samples of {lots_words(len(s.lot_names))}"
    if s.course.kind == "drift":
        since = "all along"
    elif s.by_lot:
        since = f"since lot {s.lot_names[s.course.start]}"
    else:
        since = f"since sample {s.samples[s.course.start]} of lot {s.lots[s.course.start]}"
    how = "changed" if s.course.kind == "step" else "drifts"
    return f"{how} by {s.course.change:+.2f} {s.unit} {since}"


def history_dict(h: History) -> dict[str, Any]:
    """Return the history as plain dicts."""
    return {
        "lots": [
            {
                "lot": x.lot, "spec": x.spec, "samples": x.samples, "conforming": x.conforming,
                "failing": x.failing, "open": x.open, "refused": x.refused, "first": x.first,
                "last": x.last, "decision": x.decision,
            }
            for x in h.lots
        ],
        "lengths": {
            s.name: {
                "unit": s.unit,
                "limits": [number(s.low), number(s.high)],
                "course": course_of(s),
                "lots": [
                    {"lot": lot, "n": int(n), "mean": number(m), "sd": number(sd)}
                    for lot, n, m, sd in zip(s.lot_names, s.counts, s.means, s.sds, strict=True)
                ],
            }
            for s in h.series
        },
    }  # fmt: skip


def print_history(h: History, stream: TextIO) -> None:
    """Print the lots, the newest last, and the length asked for."""
    console = console_for(stream)
    total = sum(x.samples for x in h.lots)
    console.print(Text(f"{lots_words(len(h.lots))}, {total} inspections in {h.place}.", style="bold"))
    console.print()
    table = table_of(
        "Lots", "lot", "spec", "samples", "conform", "fail", "open", "refused", "last check", "decision"
    )
    for x in h.lots[-MOST_LOTS:]:
        table.add_row(
            x.lot, x.spec, str(x.samples), str(x.conforming), str(x.failing), str(x.open), str(x.refused),
            x.last[:16].replace("T", " "), x.decision or "-",
        )  # fmt: skip
    if h.lots:
        console.print(table)
        if len(h.lots) > MOST_LOTS:
            console.print(Text(f"  the newest {MOST_LOTS} of {len(h.lots)}", style="dim"))
        console.print()
    for s in h.series[: 1 if len(h.series) == 1 else 0]:
        console.print(Text(f"{capital(s.name)}: {course_of(s)}.", style="bold"))
        lines = table_of(f"Off by, {s.unit}", "lot", "n", "mean", "sd")
        rows = list(zip(s.lot_names, s.counts, s.means, s.sds, strict=True))
        for lot, n, mean, sd in rows[-MOST_LOTS:]:
            lines.add_row(lot, str(int(n)), f"{mean:+.2f}", f"{sd:.2f}" if np.isfinite(sd) else "-")
        console.print(lines)


def _chart(s: Series) -> Markup:
    """Means of the lots; with few lots every sample, under the name of its lot."""
    from compare.tell.lot.lot_charts import history_chart

    if s.by_lot:
        return history_chart(s, s.lot_names, s.means, s.sds)
    return history_chart(s, s.lots, s.values, np.zeros(len(s.values)))


def history_page(h: History) -> str:
    """Return the charts of every length as HTML text."""
    from compare.tell.lot.lot_page import render

    figures = [
        {
            "title": capital(s.name),
            "svg": _chart(s),
            "words": f"{capital(course_of(s))}.",
            "changed": s.course.changed,
        }
        for s in h.series
    ]
    return render(
        "history.html.j2",
        {"h": h, "lots": lots_words(len(h.lots)), "figures": figures, "newest": h.lots[-MOST_LOTS:]},
    )


def write_history(h: History, path: Path, *, replace: bool = False) -> None:
    """Write the charts; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    text = history_page(h)
    write_whole(
        path,
        lambda temporary: temporary.write_text(text, encoding="utf-8") and None,
        HISTORY,
        replace=replace,
    )
