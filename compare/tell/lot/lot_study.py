"""A gauge study told: verdict first, then per length where the spread comes from."""

import math
from collections.abc import Sequence
from typing import Any, TextIO

from rich.text import Text

from compare.lot.study.gauge_study import BEARABLE, GOOD, Gauge
from compare.lot.study.photo_study import Studied
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.lot.lot_json import number
from compare.tell.words.lots.lot_words import percent
from compare.tell.words.lots.study_words import study_headline


def _gauge_dict(g: Gauge, width: float) -> dict[str, Any]:
    return {
        "method": g.method,
        "repeatability_sd": number(g.repeatability),
        "reproducibility_sd": number(g.reproducibility),
        "measuring_sd": number(g.measuring),
        "parts_sd": number(g.parts),
        "share_of_total": number(g.share_of_total),
        "share_of_tolerance": number(g.share_of_tolerance(width)) if width > 0 else None,
        "categories": g.categories,
        "interaction_pooled": g.pooled,
        "variance": [
            {"source": x.name, "squares": number(x.squares), "freedom": x.freedom, "f": number(x.f),
             "chance": number(x.chance)}
            for x in g.lines
        ],
    }  # fmt: skip


def study_dict(studied: Sequence[Studied]) -> dict[str, Any]:
    """Return the study as plain dicts."""
    return {
        "headline": study_headline(studied),
        "lengths": {
            s.name: {
                "verdict": s.word,
                "photos_needed": s.photos_needed,
                "people": s.gauge.people,
                "samples": s.gauge.samples,
                "photos": s.gauge.photos,
                "left_out": s.left_out,
                "stated_u": number(s.u),
                "by_variance": _gauge_dict(s.gauge, s.width),
                "by_range": None if s.by_range is None else _gauge_dict(s.by_range, s.width),
            }
            for s in studied
        },
    }


def print_study(studied: Sequence[Studied], stream: TextIO) -> None:
    """Print the study; the first line is the verdict on the method."""
    console = console_for(stream)
    console.print(Text(study_headline(studied), style="bold"))
    g = studied[0].gauge
    console.print(
        Text(f"{g.people} people (or phones), {g.samples} samples, {g.photos} photos of each by each.")
    )
    if g.people == 1:
        console.print(Text("One person only: what changes from person to person is not known."))
    left_out = max(s.left_out for s in studied)
    if left_out:
        console.print(Text(f"{left_out} samples were left out: not everybody photographed them twice."))
    console.print()
    table = table_of(
        "Standard deviations (mm), by analysis of variance",
        "", "repeat", "people", "measuring", "samples", "of total", "of tolerance", "categories", "photos",
        "",
    )  # fmt: skip
    for s in studied:
        known = math.isfinite(s.share)
        needed = "-" if not known else "none" if s.photos_needed is None else str(s.photos_needed)
        table.add_row(
            s.name,
            f"{s.gauge.repeatability:.3f}",
            f"{s.gauge.reproducibility:.3f}",
            f"{s.gauge.measuring:.3f}",
            f"{s.gauge.parts:.3f}",
            percent(s.gauge.share_of_total),
            percent(s.share) if known else "-",
            str(min(s.gauge.categories, 99)),
            needed,
            s.word,
        )
    console.print(table)
    console.print(
        Text(
            f"  of tolerance: six sigma of the measuring over the width; up to {GOOD:.0%} good, up to "
            f"{BEARABLE:.0%} bearable. photos: needed per sample for bearable.",
            style="dim",
        )
    )
    both = [s for s in studied if s.by_range is not None]
    if both:
        console.print()
        other = table_of(
            "The same by average and range", "", "repeat", "people", "measuring", "samples", "categories"
        )
        for s in both:
            r = s.by_range
            assert r is not None
            other.add_row(
                s.name,
                f"{r.repeatability:.3f}",
                f"{r.reproducibility:.3f}",
                f"{r.measuring:.3f}",
                f"{r.parts:.3f}",
                str(min(r.categories, 99)),
            )
        console.print(other)
    claimed = [s for s in studied if math.isfinite(s.u) and s.gauge.measuring > 0]
    if claimed:
        ratios = sorted(s.u / s.gauge.measuring for s in claimed)
        console.print()
        console.print(
            Text(
                f"The single photos claim a standard uncertainty {ratios[len(ratios) // 2]:.1f} times the "
                "measuring spread found here; the rest is for what all photos of a study share."
            )
        )
