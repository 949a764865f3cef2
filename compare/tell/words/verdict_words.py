"""The decision rule, and what stands beside a compared item, in words."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from compare.tell.words.name_words import two_sums
from compare.units import MM, Unit
from compare.verdict.conformity import Item, Rule
from compare.verdict.remarks import BothFeet, ByHand, Reaches, ReadByHand, Remark, SeenShut, TwoSums

RULES: Final[Mapping[Rule, str]] = MappingProxyType(
    {
        Rule.GUARDED: "Something passes or fails only if it is in or out by more than its uncertainty U.",
        Rule.SIMPLE: (
            "The measured value alone decides, whatever its uncertainty U; either error may happen."
        ),
    }
)


def by_hand_words(joints: Sequence[str]) -> str:
    """Return which ends were pointed at by hand; "" if none."""
    return f"by hand: {', '.join(joints)}" if joints else ""


def _words(remark: Remark, unit: Unit) -> str:
    match remark:
        case BothFeet():
            return "both inner feet together"
        case TwoSums(one, other):
            return " against ".join(two_sums(one, other))
        case Reaches(farthest, reach_mm, from_design):
            taken = f"; from the design: {', '.join(from_design)}" if from_design else ""
            return f"{farthest} reaches {unit.words(reach_mm)}{taken}"
        case ByHand(joints):
            return by_hand_words(joints)
        case ReadByHand(value_mm, expanded_mm):
            return f"read by hand: {unit.known(value_mm, expanded_mm)}"
        case SeenShut(predicted_mm):
            return f"measured in the photo of it shut; the lengths alone say {unit.words(predicted_mm)}"


def remark_words(item: Item, unit: Unit = MM) -> str:
    """Return what stands beside an item; "" if nothing."""
    return "; ".join(_words(r, unit) for r in item.remarks)
