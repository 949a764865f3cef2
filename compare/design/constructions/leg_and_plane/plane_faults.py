"""What goes wrong with a plane as a whole: its crease glued off the ridge."""

from collections.abc import Sequence

from compare.design.craft.fault import Fault, FaultKind
from compare.vocabulary import Kind, named, parsed

SIGNS = ("right", 1.0), ("left", -1.0)


def plane_faults(stage: int, lengths: Sequence[str]) -> list[Fault]:
    """Faults of a plane with two halves on legs; [] for any other."""
    edges = {named(Kind.PLANE, s, stage=stage): way for s, way in SIGNS}
    spacing: dict[str, float] = {}
    for name in lengths:
        n = parsed(name)
        if n.kind == Kind.PLANE_SPACING and n.stage == stage:
            spacing[name] = 1.0 if n.side == "right" else -1.0
    if not all(k in lengths for k in edges) or len({parsed(k).side for k in spacing}) != 2:
        return []
    # legs glued at marks on the plane move with it; legs glued where they stand leave only its edges off
    return [
        Fault(
            kind=FaultKind.CREASE,
            name=named(Kind.CREASE_OFF, stage=stage),
            stage=stage,
            pattern=pattern,
            weight=weight,
        )
        for pattern, weight in (({**spacing, **edges}, 1.0), (edges, 1.0), (spacing, 0.5))
    ]
