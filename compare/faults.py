"""What goes wrong when a dummy is cut and glued: each fault as the pattern it leaves on the lengths.

A strip cut wrong spoils one length. A piece glued in the wrong place spoils several at once: the plane's
crease glued off the ridge makes one plane spacing too long and the other too short by the same amount. Each
pattern is written per millimetre of the fault, in the lengths of the linkage.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.units import MM, Unit


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


def _single(side: str, has_leg: bool) -> list[Fault]:
    s = side
    page = Fault(
        name=f"page {s}",
        pattern={f"page {s}": 1.0},
        more=f"the {s} page is {{d}} wide",
        less=f"the {s} page is {{d}} narrow",
        weight=0.5,
    )
    fold = Fault(
        name=f"fold {s}",
        pattern={f"fold {s}": 1.0},
        more=f"the {s} side of the parallel fold is {{d}} long",
        less=f"the {s} side of the parallel fold is {{d}} short",
    )
    if not has_leg:
        foot = Fault(
            name=f"foot {s}",
            pattern={f"foot {s}": 1.0},
            more=f"the {s} inner foot stands {{d}} too far out",
            less=f"the {s} inner foot stands {{d}} too near the spine",
        )
        return [page, fold, foot]
    return [
        page,
        fold,
        Fault(
            name=f"leg {s}",
            pattern={f"leg {s}": 1.0},
            more=f"the {s} leg is {{d}} long",
            less=f"the {s} leg is {{d}} short",
        ),
        Fault(
            name=f"page spacing {s}",
            pattern={f"page spacing {s}": 1.0},
            more=f"the {s} outer foot is glued {{d}} too far out",
            less=f"the {s} outer foot is glued {{d}} too far in",
        ),
        Fault(
            name=f"plane spacing {s}",
            pattern={f"plane spacing {s}": 1.0},
            more=f"the {s} leg is glued {{d}} too far out under the plane",
            less=f"the {s} leg is glued {{d}} too far in under the plane",
        ),
        Fault(
            name=f"plane {s}",
            pattern={f"plane {s}": 1.0},
            more=f"the plane's {s} half is {{d}} too wide",
            less=f"the plane's {s} half is {{d}} too narrow",
        ),
        Fault(  # the outer foot was marked from the spine
            name=f"foot {s}",
            pattern={f"foot {s}": 1.0, f"page spacing {s}": -1.0},
            more=f"the {s} inner foot stands {{d}} too far out",
            less=f"the {s} inner foot stands {{d}} too near the spine",
        ),
        Fault(  # the outer foot was marked from the inner one, and moved along with it
            name=f"feet {s}",
            pattern={f"foot {s}": 1.0},
            more=f"the {s} feet stand {{d}} too far out",
            less=f"the {s} feet stand {{d}} too near the spine",
            weight=0.5,
        ),
    ]


def _shared(sides: tuple[str, ...]) -> list[Fault]:
    """Faults that touch both halves."""
    moved = {"foot right": 1.0, "foot left": -1.0}
    for s in sides:
        moved[f"page spacing {s}"] = -1.0 if s == "right" else 1.0
    out = [
        Fault(
            name="ridge score",
            pattern={"fold left": 1.0, "fold right": -1.0},
            more="the ridge of the parallel fold is scored {d} too far right",
            less="the ridge of the parallel fold is scored {d} too far left",
        ),
        Fault(
            name="fold position",
            pattern=moved,
            more="the parallel fold is glued {d} too far right",
            less="the parallel fold is glued {d} too far left",
        ),
    ]
    if len(sides) == 2:
        spacing = {"plane spacing right": 1.0, "plane spacing left": -1.0}
        edges = {"plane right": 1.0, "plane left": -1.0}
        # legs glued at marks on the plane move with it; legs glued where they stand leave only its edges off
        for pattern, weight in (({**spacing, **edges}, 1.0), (edges, 1.0), (spacing, 0.5)):
            out.append(
                Fault(
                    name="crease off the ridge",
                    pattern=pattern,
                    more="the plane's crease is glued {d} right of the ridge",
                    less="the plane's crease is glued {d} left of the ridge",
                    weight=weight,
                )
            )
    return out


APART: Final = Fault(
    name="feet",
    pattern={"foot left": 0.5, "foot right": 0.5},
    more="the inner feet stand {d} too far apart",
    less="the inner feet stand {d} too near to each other",
)
"""Where the spine is not seen, nobody can say which of the two feet is wrong."""


def faults_of(sides: tuple[str, ...], *, spine_seen: bool) -> tuple[Fault, ...]:
    """Return all single faults of a dummy with legs on these sides.

    Without the spine a moved foot shows only in the distance of the feet; the fault that says so then
    comes first, so that it stands for all those that look the same.
    """
    single = [f for side in ("left", "right") for f in _single(side, side in sides)]
    return tuple([*([] if spine_seen else [APART]), *single, *_shared(sides)])
