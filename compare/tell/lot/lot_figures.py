"""The figures of a lot's report: what to draw, its title, and what stands under it."""

import base64
import io
from collections.abc import Mapping
from typing import Any, Final

from PIL import Image

from compare.jobs.check_dummy import Inspection
from compare.lot.assess_lot import Assessment
from compare.lot.charts.control_charts import individuals
from compare.lot.study.lot_statistics import Statistics
from compare.lot.study.sample_groups import Subgroups
from compare.lot.worst_samples import worst_samples
from compare.tell.check.annotated_photo import annotated
from compare.tell.lot import lot_bars as bars
from compare.tell.lot import lot_charts as charts
from compare.tell.lot.lot_text import course_words
from compare.tell.words.lots.run_rule_words import signals_told
from compare.tell.words.lots.sample_words import sample_answer
from compare.tell.words.lots.statistics_words import normal_words
from compare.tell.words.plain_words import capital, listed

PICTURE_WIDTH: Final = 1100  # px
MOST_COURSES: Final = 6
Figure = dict[str, Any]


def course_figures(a: Assessment) -> list[Figure]:
    """Charts of what is worth a look: what changed, what fails, else the tightest length."""
    lengths = [s for s in a.statistics if s.kind == "length"]
    telling = [s for s in a.statistics if s.drifts and s.kind in ("length", "lean")]
    telling += [s for s in lengths if (s.failing or s.off or s.spreads) and s not in telling]
    if not telling and lengths:
        telling = [max(lengths, key=lambda s: (abs(s.mean) + 3 * s.sd) / s.half)]
    names = [x.name for x in a.samples]
    out: list[Figure] = []
    for s in telling[:MOST_COURSES]:
        words = " ".join([f"{capital(course_words(s, names))}.", *signals_told(s, a.samples)])
        out.append(
            {"title": capital(s.name), "svg": charts.run_chart(s, a.samples, a.checking.rule), "words": words}
        )
        if s.subgroups is not None:
            out += _subgroup_charts(s, s.subgroups)
    return out


def range_figures(a: Assessment) -> list[Figure]:
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


def _subgroup_charts(s: Statistics, sub: Subgroups) -> list[Figure]:
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


def histogram_figures(a: Assessment) -> list[Figure]:
    """Return how each length is spread."""
    return [
        {"title": capital(s.name), "svg": bars.histogram(s), "words": normal_words(s.normality)}
        for s in a.statistics
        if s.kind == "length" and s.sd > 0
    ]


def group_figures(a: Assessment) -> list[Figure]:
    """Return what depends on a label."""
    lengths = [s for s in a.statistics if s.kind == "length" and s.groupings]
    return [
        {
            "title": f"{capital(s.name)} by {g.column}",
            "svg": bars.group_chart(s, g),
            "words": "Points: means; lines: their 95 % intervals.",
        }
        for s in lengths
        for g in s.telling_groups(len(lengths))
    ]


def _picture(inspection: Inspection | None) -> str:
    """Return the annotated photo of a sample as a data address; "" if its photos are gone."""
    if inspection is None:
        return ""
    image = Image.fromarray(annotated(inspection))
    height = round(image.height * PICTURE_WIDTH / image.width)
    out = io.BytesIO()
    image.resize((PICTURE_WIDTH, height), Image.Resampling.LANCZOS).save(out, "JPEG", quality=82)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()


def worst_figures(a: Assessment, looked: Mapping[str, Inspection]) -> list[Figure]:
    """Return the worst samples with their photos, if these are at hand."""
    out = []
    for s in worst_samples(a):
        labels = ", ".join(f"{k} {v}" for k, v in s.labels.items())
        out.append(
            {
                "name": s.name,
                "answer": sample_answer(s, a.checking.rule),
                "picture": _picture(looked.get(s.name)),
                "words": f"{', '.join(s.photos)}"
                + (f"; {labels}" if labels else "")
                + (f"; {s.made_at.replace('T', ' ')}" if s.made_at else ""),
            }
        )
    return out
