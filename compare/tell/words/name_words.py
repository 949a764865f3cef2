"""What lengths, and what is told of them, are called in a sentence: as in tables and pictures."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from compare.vocabulary import Kind, Told, parsed

GLUED: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        Kind.PAGE_SPACING: ("{name}", Kind.OUTER_FOOT),
        Kind.FOOT: ("{name}", Kind.INNER_FOOT),
        Kind.PLANE_SPACING: ("the top of {name}", Kind.LEG),
        Kind.SUPPORT_FOOT: ("the foot of {name}", Kind.SUPPORT),
        Kind.SUPPORT_TAB: ("the tab of {name}", Kind.SUPPORT),
        Kind.FLAP_HINGE: ("the hinge of {name}", Kind.FLAP),
    }
)
"""What one takes hold of where a length is no strip of card but the place where something is glued."""


def called(name: str) -> str:
    """Return the part a length belongs to: "leg right", "outer foot 1 left", "the top of leg right"."""
    n = parsed(name)
    if n.kind not in GLUED or not n.side or n.told:
        return name
    words, kind = GLUED[n.kind]
    return words.format(name=n.other(kind))


def spoken(name: str) -> str:
    """Return the name of a length or of what is told of one as in a sentence: "page spacing right"."""
    n = parsed(name)
    if name == Kind.FEET:
        return "the distance of the inner feet"
    if n.told == Told.LEAN:
        return f"the lean of the {n.about} half"
    if n.told == Told.CLEARANCE:
        return f"the clearance at the {n.about} fore edge"
    if n.compares and not n.told:
        return f'"{name}"'
    return f"the {name}" if n.told else name


def of_stage(stage: int) -> str:
    """Return " of stage 2" in a sentence; "" for what stands on the base."""
    return f" of stage {stage}" if stage > 1 else ""


IN_SUM: Final[Mapping[str, str]] = MappingProxyType(
    {Kind.CREASE_NEAR: "pillar (lying)", Kind.CREASE: "vfold"}
)
"""What a length is called in a sum where its own name would not tell."""


def two_sums(one: Sequence[str], other: Sequence[str]) -> tuple[str, str]:
    """Return two sums of lengths in trade terms, "fold + plane spacing", with their side if need be."""
    kinds = [[parsed(k).kind for k in names] for names in (one, other)]
    first, second = (" + ".join(IN_SUM.get(k, k) for k in some) for some in kinds)
    if first == second:
        first, second = (f"{first}, {parsed(names[0]).side}" for names in (one, other))
    if Kind.CREASE in kinds[0]:
        first = f"seen along the glue line, {first}"
    return first, second
