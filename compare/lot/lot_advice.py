"""What to tell the assemblers, and what makes the samples lean most often."""

from collections.abc import Sequence
from dataclasses import dataclass

from compare.lot.lot_decision import since
from compare.lot.lot_words import became, capital, percent, size
from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics
from compare.vocabulary import parsed, spoken


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to tell: what is seen, and what to do. `cuts` if a knife or blade is involved."""

    seen: str
    do: str
    cuts: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Frequent:
    """A cause over the lot.

    Attributes
    ----------
    name : of the fault. count : samples in which the diagnosis names it. mean_mm : its mean size.
    lean_deg : sum over the samples of the lean it makes. which : names of the samples.
    """

    name: str
    count: int
    mean_mm: float
    lean_deg: float
    which: tuple[str, ...]


def frequent_causes(samples: Sequence[Sample]) -> tuple[Frequent, ...]:
    """Return the causes by how much they make the lot lean, the worst first (a Pareto ranking)."""
    found: dict[str, list[tuple[str, float, float]]] = {}
    for s in samples:
        for c in s.causes:
            found.setdefault(c.name, []).append((s.name, c.size_mm, c.lean_deg))
    out = [
        Frequent(
            name=name,
            count=len(rows),
            mean_mm=sum(r[1] for r in rows) / len(rows),
            lean_deg=sum(r[2] for r in rows),
            which=tuple(r[0] for r in rows),
        )
        for name, rows in found.items()
    ]
    return tuple(sorted(out, key=lambda f: (-f.count, -f.lean_deg, f.name)))


def _tool(name: str) -> str:
    if parsed(name).is_glued:
        return "the gluing jig or the pencil mark it is placed by"
    return "the die, the blade and the stop it is cut and scored against"


def _drift(s: Statistics, samples: Sequence[Sample]) -> Advice:
    seen = (
        f"{capital(spoken(s.name))} became {became(s.kind, s.course.change)} by "
        f"{size(s.course.change, s.unit)} {since(s, samples)}."
    )
    what = "wear or slipping" if s.course.kind != "step" else "a change"
    switched = _switched(s, samples)
    do = f"Look for {what} at {_tool(s.name)}"
    do += f"; it comes with {switched}" if switched else ""
    back = f"{size(s.now, s.unit)} {became(s.kind, -s.now)}"
    do += f". Set it {back} again, then photograph three pieces in a row."
    return Advice(seen=seen, do=do, cuts=not parsed(s.name).is_glued)


def _switched(s: Statistics, samples: Sequence[Sample]) -> str:
    """Return a label that changes where a step is and nowhere else."""
    if s.course.kind != "step":
        return ""
    k = s.course.start
    for g in s.groupings:
        labels = [samples[i].labels.get(g.column, "") for i in s.samples]
        if len(set(labels[:k])) == 1 == len(set(labels[k:])) and labels[0] != labels[-1]:
            return f"the change from {g.column} {labels[0]} to {labels[-1]}"
    return ""


def _off(s: Statistics) -> Advice:
    by = f"{size(s.mean, s.unit)} too {_too(s.mean)}"
    seen = f"{capital(spoken(s.name))} is {by} in the mean of {s.n} samples."
    do = f"Set {_tool(s.name)} {size(s.mean, s.unit)} {became(s.kind, -s.mean)} for all pieces."
    return Advice(seen=seen, do=do, cuts=not parsed(s.name).is_glued)


def _too(deviation: float) -> str:
    return "long" if deviation > 0 else "short"


def _spread(s: Statistics) -> Advice:
    out = f", {percent(s.share)} of pieces out of limits" if s.share >= 0.001 else ""
    either = size(2 * s.course.spread, s.unit)
    seen = f"{capital(spoken(s.name))} varies from piece to piece by {either} either way{out}."
    do = (
        "Glue it against a jig or stop instead of by eye."
        if parsed(s.name).is_glued
        else "Cut and score it against a stop, not by eye."
    )
    return Advice(seen=seen, do=do, cuts=not parsed(s.name).is_glued)


def _groups(s: Statistics, looked_at: int) -> list[Advice]:
    out: list[Advice] = []
    for g in s.telling_groups(looked_at):
        low, high = min(g.groups, key=lambda x: x.mean), max(g.groups, key=lambda x: x.mean)
        worst = max((low, high), key=lambda x: abs(x.mean))
        out.append(
            Advice(
                seen=f"{capital(spoken(s.name))} depends on the {g.column}: with {high.label} it is "
                f"{size(g.difference, s.unit)} longer than with {low.label}.",
                do=f"Compare {g.column} {high.label} with {g.column} {low.label}; {worst.label} is farther "
                "off the design.",
                cuts=not parsed(s.name).is_glued,
            )
        )
    return out


def advice(statistics: Sequence[Statistics], samples: Sequence[Sample]) -> tuple[Advice, ...]:
    """Return what to tell the assemblers, most pressing first; () if there is nothing.

    Only lengths are told: what pairs, lean and clearance do follows from them.
    """
    lengths = [s for s in statistics if s.kind == "length"]
    drifts = sorted((s for s in lengths if s.drifts), key=lambda s: -abs(s.course.change) / s.half)
    out = [_drift(s, samples) for s in drifts]
    out += [_off(s) for s in sorted(lengths, key=lambda s: -abs(s.mean) / s.half) if s.off and not s.drifts]
    out += [_spread(s) for s in lengths if s.spreads]
    for s in lengths:
        out += _groups(s, len(lengths))
    return tuple(out)
