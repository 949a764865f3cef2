"""What to tell the assemblers, and what makes the samples lean most often."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics
from compare.lot.study.sample_groups import Grouping
from compare.vocabulary import parsed


class AdviceKind(Enum):
    """What is seen of a length."""

    CHANGED = auto()  # it drifts, or made a step
    OFF = auto()  # all pieces alike
    SEEMS_OFF = auto()  # all photos alike: whether pieces or photos are off, they do not tell
    VARIES = auto()  # from piece to piece
    DEPENDS = auto()  # on a label


@dataclass(frozen=True, slots=True)
class LabelChange:
    """A label that changes where a step is and nowhere else."""

    column: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Advice:
    """One thing to tell the assemblers.

    Attributes
    ----------
    kind : what is seen. statistics : of the length. comes_with : what changed where it made a step.
    grouping : the labels it depends on.
    """

    kind: AdviceKind
    statistics: Statistics
    comes_with: LabelChange | None = None
    grouping: Grouping | None = None

    @property
    def sets(self) -> bool:
        """True if it says by how much to set a die, blade or stop: what photos share may never do that."""
        if self.kind is AdviceKind.CHANGED:
            return self.statistics.stands_sure
        return self.kind is AdviceKind.OFF

    @property
    def cuts(self) -> bool:
        """True if a knife or blade is involved."""
        return self.kind is not AdviceKind.SEEMS_OFF and not parsed(self.statistics.name).is_glued


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


def _label_change(s: Statistics, samples: Sequence[Sample]) -> LabelChange | None:
    """Return a label that changes where a step is and nowhere else."""
    if s.course.kind != "step":
        return None
    k = s.course.start
    for g in s.groupings:
        labels = [samples[i].labels.get(g.column, "") for i in s.samples]
        if len(set(labels[:k])) == 1 == len(set(labels[k:])) and labels[0] != labels[-1]:
            return LabelChange(g.column, labels[0], labels[-1])
    return None


def advice(statistics: Sequence[Statistics], samples: Sequence[Sample]) -> tuple[Advice, ...]:
    """Return what to tell the assemblers, most pressing first; () if there is nothing.

    Only lengths are told: what pairs, lean and clearance do follows from them.
    """
    lengths = [s for s in statistics if s.kind == "length"]
    drifts = sorted((s for s in lengths if s.drifts), key=lambda s: -abs(s.course.change) / s.half)
    off = sorted((s for s in lengths if s.off and not s.drifts), key=lambda s: -abs(s.mean) / s.half)
    doubtful = (s for s in lengths if s.seems_off and not s.off and not s.drifts)
    seems = sorted(doubtful, key=lambda s: -abs(s.mean) / s.half)
    return (
        *(
            Advice(kind=AdviceKind.CHANGED, statistics=s, comes_with=_label_change(s, samples))
            for s in drifts
        ),
        *(Advice(kind=AdviceKind.OFF, statistics=s) for s in off),
        *(Advice(kind=AdviceKind.SEEMS_OFF, statistics=s) for s in seems),
        *(Advice(kind=AdviceKind.VARIES, statistics=s) for s in lengths if s.spreads),
        *(
            Advice(kind=AdviceKind.DEPENDS, statistics=s, grouping=g)
            for s in lengths
            for g in s.telling_groups(len(lengths))
        ),
    )
