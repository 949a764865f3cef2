"""What goes wrong when a dummy is cut and glued: each fault as the pattern it leaves on the lengths.

A strip cut wrong spoils one length. A piece glued in the wrong place spoils several at once: the plane's
crease glued off the ridge makes one plane spacing too long and the other too short by the same amount. Each
pattern is written per millimetre of the fault, in the lengths of the linkage.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from compare.design.linkage.mechanism import Mechanism
from compare.quantities.measured import feet_lengths
from compare.units import MM, Unit
from compare.vocabulary import Kind, called, named, of_stage, parsed


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A single fault.

    Attributes
    ----------
    name : short name; for a fault of one length the length's own name.
    pattern : length -> change per mm of the fault.
    more, less : sentence for a positive and a negative size, with "{d}" for the size, e.g. "the right leg
        is {d} long".
    weight : how much likelier than other faults before anything is measured (1 = like the others).
    """

    name: str
    pattern: Mapping[str, float]
    more: str
    less: str
    weight: float = 1.0

    def sentence(self, size_mm: float, unit: Unit = MM) -> str:
        """Return the fault in plain words, its size in the user's unit."""
        return (self.more if size_mm > 0 else self.less).format(d=unit.words(abs(size_mm)))


_CUT: Final = ("{part} is {{d}} too long", "{part} is {{d}} short")
_OUT: Final = ("{part} is glued {{d}} too far out", "{part} is glued {{d}} too far in")
_STANDS: Final = ("{part} stands {{d}} too far out", "{part} stands {{d}} too near the {spine}")
SAID: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        Kind.PAGE: ("{part} is {{d}} too wide", "{part} is {{d}} too narrow"),
        Kind.PLANE: ("{part} is {{d}} too wide", "{part} is {{d}} too narrow"),
        Kind.PAGE_SPACING: _OUT,
        Kind.PLANE_SPACING: (
            "{leg} is glued {{d}} too far out under the plane",
            "{leg} is glued {{d}} too far in under the plane",
        ),
        Kind.FOOT: _STANDS,
        Kind.SUPPORT_FOOT: _STANDS,
        Kind.FLAP_HINGE: _OUT,
        Kind.SUPPORT_TAB: (
            "{part} is glued {{d}} too far from the ridge",
            "{part} is glued {{d}} too near the ridge",
        ),
        Kind.VFOLD_FOOT: _STANDS,
        Kind.VFOLD_TOP: ("{part} is glued {{d}} too far out", "{part} is glued {{d}} too far in"),
        Kind.HEIGHT: ("the ridge stands {{d}} too high", "the ridge stands {{d}} too low"),
    }
)
"""What is said of a length that is too large and too small; all others are cut long or short."""


def _single(name: str) -> Fault:
    """Return the fault of one length alone."""
    n = parsed(name)
    words = {
        "part": called(name),
        "leg": called(n.other(Kind.LEG)),
        "spine": "spine" if n.stage == 1 else "crease below",
    }
    more, less = (text.format(**words) for text in SAID.get(n.kind, _CUT))
    weight = 0.5 if n.kind == Kind.PAGE else 1.0  # pages are cut with a guillotine, or bought
    return Fault(name=name, pattern={name: 1.0}, more=more, less=less, weight=weight)


def _foot(name: str, lengths: Mapping[str, float]) -> list[Fault]:
    """Faults of an inner foot: alone, or with all that was marked from it."""
    alone = _single(name)
    spacings = _spacings(name, lengths)
    if not spacings:
        return [alone]
    n = parsed(name)
    of = of_stage(n.stage)
    spine = "spine" if n.stage == 1 else "crease below"
    return [
        Fault(  # the outer foot was marked from the spine
            name=name,
            pattern={name: 1.0, **dict.fromkeys(spacings, -1.0)},
            more=alone.more,
            less=alone.less,
        ),
        Fault(  # the outer foot was marked from the inner one, and moved along with it
            name=n.other(Kind.FEET),
            pattern={name: 1.0},
            more=f"the {n.side} feet{of} stand {{d}} too far out",
            less=f"the {n.side} feet{of} stand {{d}} too near the {spine}",
            weight=0.5,
        ),
    ]


def _spacings(foot: str, lengths: Mapping[str, float]) -> list[str]:
    """Return the page spacings that count from this inner foot."""
    n = parsed(foot)
    out = []
    for name in lengths:
        m = parsed(name)
        if m.kind == Kind.PAGE_SPACING and (m.stage, m.side) == (n.stage, n.side):
            out.append(name)
    return out


def _shared(stage: int, lengths: Mapping[str, float]) -> list[Fault]:
    """Faults that touch both halves of one construction."""
    of = of_stage(stage)
    sides = ("right", 1.0), ("left", -1.0)
    out: list[Fault] = []
    folds = {named(Kind.FOLD, s, stage=stage): -way for s, way in reversed(sides)}
    if all(k in lengths for k in folds):
        out.append(
            Fault(
                name=named(Kind.RIDGE_SCORE, stage=stage),
                pattern=folds,
                more=f"the ridge of the parallel fold{of} is scored {{d}} too far right",
                less=f"the ridge of the parallel fold{of} is scored {{d}} too far left",
            )
        )
    moved = {named(Kind.FOOT, s, stage=stage): way for s, way in sides}
    if all(k in lengths for k in moved):
        for foot, way in tuple(moved.items()):
            moved |= dict.fromkeys(_spacings(foot, lengths), -way)
        out.append(
            Fault(
                name=named(Kind.FOLD_POSITION, stage=stage),
                pattern=moved,
                more=f"the parallel fold{of} is glued {{d}} too far right",
                less=f"the parallel fold{of} is glued {{d}} too far left",
            )
        )
    edges = {named(Kind.PLANE, s, stage=stage): way for s, way in sides}
    spacing: dict[str, float] = {}
    for name in lengths:
        n = parsed(name)
        if n.kind == Kind.PLANE_SPACING and n.stage == stage:
            spacing[name] = 1.0 if n.side == "right" else -1.0
    if all(k in lengths for k in edges) and len({parsed(k).side for k in spacing}) == 2:
        # legs glued at marks on the plane move with it; legs glued where they stand leave only its edges off
        for pattern, weight in (({**spacing, **edges}, 1.0), (edges, 1.0), (spacing, 0.5)):
            out.append(
                Fault(
                    name=named(Kind.CREASE_OFF, stage=stage),
                    pattern=pattern,
                    more=f"the plane's crease{of} is glued {{d}} right of the ridge",
                    less=f"the plane's crease{of} is glued {{d}} left of the ridge",
                    weight=weight,
                )
            )
    return out


def _apart(feet: tuple[str, str]) -> Fault:
    """Where the spine is not seen, nobody can say which of the two feet is wrong."""
    return Fault(
        name=Kind.FEET,
        pattern=dict.fromkeys(feet, 0.5),
        more="the inner feet stand {d} too far apart",
        less="the inner feet stand {d} too near to each other",
    )


def faults_of(mechanism: Mechanism, *, spine_seen: bool) -> tuple[Fault, ...]:
    """Return all single faults of a dummy that an end-on photo can show.

    Without the spine a moved foot shows only in the distance of the feet; the fault that says so then
    comes first, so that it stands for all those that look the same.
    """
    lengths = {k: v for k, v in mechanism.lengths.items() if k in mechanism.ends}
    feet = feet_lengths(mechanism)
    out = [] if spine_seen or feet is None else [_apart(feet)]
    feet_last: list[Fault] = []
    for name in lengths:
        if parsed(name).kind == Kind.FOOT:
            feet_last += _foot(name, lengths)
        else:
            out.append(_single(name))
    out += feet_last
    for stage in dict.fromkeys(parsed(k).stage for k in lengths):
        out += _shared(stage, lengths)
    return tuple(out)
