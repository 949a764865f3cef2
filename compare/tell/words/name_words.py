"""What lengths, and what is told of them, are called in a sentence."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from compare.vocabulary import Kind, Told, parsed

CALLED: Final[Mapping[str, str]] = MappingProxyType(
    {
        Kind.LEG: "the {side} leg{n}{of}",
        Kind.FOLD: "the {side} side of the parallel fold{of}",
        Kind.PAGE: "the {side} page",
        Kind.PAGE_SPACING: "the {side} outer foot{n}{of}",
        Kind.PLANE_SPACING: "the top of the {side} leg{n}{of}",
        Kind.PLANE: "the plane's {side} half{of}",
        Kind.FOOT: "the {side} inner foot{of}",
        Kind.SUPPORT: "the {side} support{of}",
        Kind.SUPPORT_FOOT: "the {side} support's foot{of}",
        Kind.SUPPORT_TAB: "the {side} support's tab{of}",
        Kind.FLAP: "the {side} flap",
        Kind.FLAP_HINGE: "the {side} flap's hinge",
        Kind.STRAP: "the {side} strap",
        Kind.VFOLD: "the {side} side of the V-fold",
        Kind.VFOLD_FOOT: "the {side} foot of the V-fold",
        Kind.VFOLD_TOP: "the {side} top of the V-fold",
    }
)
"""What a length belongs to: the strip it is cut on, or the glue line it places."""


def called(name: str) -> str:
    """Return the part a length belongs to, in plain words: "the right leg", "the left leg 2 of stage 2"."""
    n = parsed(name)
    if n.kind not in CALLED or not n.side or n.told:
        return f'"{name}"'
    number = f" {n.number}" if n.number else ""
    return CALLED[n.kind].format(side=n.side, n=number, of=of_stage(n.stage))


def spoken(name: str) -> str:
    """Return the name of a length or of what is told of one as in a sentence: "the right plane spacing"."""
    n = parsed(name)
    if name == Kind.FEET:
        return "the distance of the inner feet"
    if n.told == Told.LEAN:
        return f"the lean of the {n.about} half"
    if n.told == Told.CLEARANCE:
        return f"the clearance at the {n.about} fore edge"
    if n.compares and not n.told:
        return f'"{name}"'
    if not n.side or not (n.kind or n.told):
        return f"the {name}"
    return f"the {n.side} {replace(n, side='', stage=1)}{of_stage(n.stage)}"


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
