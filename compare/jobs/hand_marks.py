"""Marking in the result what came from the hand: lengths that end at a joint pointed at in the photo."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from compare.quantities.joint_quantities import seen_ends
from compare.verdict.conformity import Item
from compare.verdict.findings import Findings
from compare.verdict.remarks import ByHand


def marked(findings: Findings, by_hand: Mapping[str, float]) -> Findings:
    """Return the findings with a remark on every length that ends at a hand-set joint."""
    if not by_hand:
        return findings
    return replace(findings, lengths=_marked(findings.lengths, seen_ends(findings.spec.mechanism), by_hand))


def _marked(
    items: Sequence[Item], ends: Mapping[str, tuple[str, str]], by_hand: Mapping[str, float]
) -> tuple[Item, ...]:
    out: list[Item] = []
    for item in items:
        by = tuple(joint for joint in ends.get(item.name, ()) if joint in by_hand)
        out.append(replace(item, remarks=(*item.remarks, ByHand(by))) if by else item)
    return tuple(out)
