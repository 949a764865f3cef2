"""The dummy on the bench, and the moves that all constructions know: making anew, gluing elsewhere."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from compare.design.craft.fault import Fault, FaultKind
from compare.design.craft.move import Effort, Move, MoveKind
from compare.design.linkage.mechanism import Mechanism
from compare.vocabulary import Kind, parsed

LEAST_MOVE: Final = 0.05  # mm; less than this nobody moves anything


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The dummy on the bench: lengths as measured (and assumed), and as designed."""

    mechanism: Mechanism
    values: Mapping[str, float]

    def nominal(self, name: str) -> float:
        """Return the design's length, mm."""
        return float(self.mechanism.lengths[name])

    def partner(self, name: str) -> str | None:
        """Return the length this one must match, if it has one that was measured."""
        for pair in self.mechanism.pairs:
            for a, b in ((pair.first, pair.second), (pair.second, pair.first)):
                if a == name and b in self.values:
                    return b
        return None

    def to_match(self, name: str, partner: str) -> float:
        """Return the change that makes a length match its partner as the design wants it."""
        return self.values[partner] + self.nominal(name) - self.nominal(partner) - self.values[name]


Maker = Callable[[Bench, Fault, float], list[Move]]
"""What one could do about a fault of some size (mm), the plainest first."""
Makers = Mapping[str | FaultKind, Maker]
"""By the kind of the one length that is wrong, or of the fault."""


def anew(kind: MoveKind, bench: Bench, name: str, size: float, effort: Effort = Effort.STRIP) -> Move:
    """Return the move that makes a part as designed."""
    target = bench.nominal(name)
    return Move(
        kind=kind,
        part=name,
        by_mm=size,
        to_mm=target,
        sets_mm={name: target},
        cuts=True,
        effort=effort,
    )


def strip_anew(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Make any strip as designed."""
    return [anew(MoveKind.STRIP_SHORTER if size > 0 else MoveKind.NEW_STRIP, bench, fault.name, size)]


def placed(bench: Bench, fault: Fault, size: float) -> list[Move]:
    """Glue a foot, hinge or tab that has no partner where it belongs."""
    n = parsed(fault.name)
    return [
        Move(
            kind=MoveKind.PLACE_TAB if n.kind == Kind.SUPPORT_TAB else MoveKind.PLACE_FOOT,
            part=fault.name,
            stage=n.stage,
            side=n.side,
            by_mm=-size,
            changes_mm={fault.name: -size},
            cuts=False,
            effort=Effort.REGLUE,
        )
    ]


def trimmed(kind: MoveKind, name: str, by: float) -> Move:
    """Return the move that trims so much off an edge."""
    return Move(kind=kind, part=name, by_mm=by, changes_mm={name: -by}, cuts=True, effort=Effort.TRIM)


def moved_back(kind: MoveKind, fault: Fault, size: float) -> Move:
    """Return the move that takes a fault out as it came in: for pieces glued in the wrong place."""
    return Move(
        kind=kind,
        stage=fault.stage,
        side=fault.side,
        by_mm=-size,
        changes_mm={k: -size * c for k, c in fault.pattern.items()},
        cuts=False,
        effort=Effort.REGLUE,
    )
