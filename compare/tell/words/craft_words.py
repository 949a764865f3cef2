"""A dummy judged by the rules of the craft, in words: the answer, what differs, both ways to mend it."""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.jobs.judge_dummy import Judgement
from compare.tell.words.name_words import called
from compare.tell.words.plain_words import listed
from compare.units import MM
from compare.verdict.conformity import Item, Verdict
from compare.vocabulary import Kind, parsed
from compare.without_spec.craft_findings import CraftFindings, HalfLean, PairFound
from compare.without_spec.craft_repairs import Mend, MendKind
from compare.without_spec.craft_rules import As
from measure.sides import SIDES

MENDS: Final[Mapping[MendKind, str]] = MappingProxyType(
    {
        MendKind.LEG_SHORTER: "re-score {part} {by} shorter ({to} from fold to fold)",
        MendKind.NEW_LEG: "make {part} anew, {by} longer ({to} from fold to fold)",
        MendKind.FOLD_SHORTER: (
            "re-score {part} {by} shorter ({to} from foot to ridge), its other side and the other legs alike"
        ),
        MendKind.NEW_FOLD: (
            "make {part} anew, {by} longer ({to} from foot to ridge), its other side and the other legs alike"
        ),
        MendKind.TOP_IN: "lift {part} off the plane and glue it {by} nearer to the ridge ({to} from it)",
        MendKind.TOP_OUT: "lift {part} off the plane and glue it {by} farther from the ridge ({to} from it)",
        MendKind.FOOT_IN: "lift {part} and glue it {by} nearer to the inner foot ({to} from it)",
        MendKind.FOOT_OUT: "lift {part} and glue it {by} farther from the inner foot ({to} from it)",
    }
)
TAKEN_FOR: Final[Mapping[As, str]] = MappingProxyType(
    {
        As.PARALLEL_FOLD: "a parallel fold whose plane must lie level",
        As.OBLIQUE: "a parallel fold whose plane is oblique on purpose",
    }
)
EVEN: Final = 0.25
"""A pair that makes less than this share of a lean is not told as its reason."""


def pair_words(pair: PairFound) -> str:
    """Return how two lengths differ: "the right leg is 1.9 mm (±0.3) shorter than its side of the fold"."""
    item, n = pair.item, parsed(pair.pair.first)
    size = f"{MM.words(abs(item.measured))} (±{item.expanded:.1f})"
    longer = item.measured > 0
    if n.kind == Kind.LEG:
        how = "longer" if longer else "shorter"
        return f"{called(pair.pair.first)} is {size} {how} than its side of the fold"
    way = "farther out on the plane than on the page" if longer else "nearer in on the plane than on the page"
    return f"{called(n.other(Kind.LEG))} stands {size} {way}"


def odd_words(pair: PairFound) -> str:
    """Return which of the two is likelier off; "" if that does not tell."""
    if not pair.odd:
        return ""
    return f"{pair.odd} is the odd one: {listed(pair.agreeing)} agree"


def mend_words(mend: Mend) -> str:
    """Return one way to mend, without capital and full stop."""
    text = MENDS[mend.kind].format(part=called(mend.length), by=MM.words(mend.by_mm), to=MM.words(mend.to_mm))
    after = round(mend.lean_deg, 1) + 0.0
    lean = "" if math.isnan(mend.lean_deg) else f"; then it leans {after:+.1f} degrees"
    return f"{text}{lean}"


def repair_lines(findings: CraftFindings) -> list[str]:
    """Return for each pair that does not agree both ways to make it agree."""
    out = []
    for pair in findings.pairs:
        if pair.mends:
            one, other = (mend_words(m) for m in pair.mends)
            why = odd_words(pair)
            out.append(
                f"{pair.item.name}: either {one}; or {other}.{f' Likelier the first: {why}.' if why else ''}"
            )
    return out


def craft_answer(findings: CraftFindings) -> str:
    """Return the answer in one line."""
    if findings.verdict is Verdict.FAILS:
        return _failing(findings)
    unseen = _unseen_halves(findings)
    if findings.strange and findings.verdict is Verdict.OPEN:
        worst = max(findings.strange, key=lambda i: abs(i.measured))
        return (
            f"Not judged in full: {worst.name} is off by {abs(worst.measured):.1f} mm, more than hand work "
            "goes wrong; it was meant so, or is something else."
        )
    if findings.verdict is Verdict.OPEN:
        doubtful = [i for i in findings.items if i.verdict is Verdict.OPEN]
        if not doubtful:
            what = f"the {unseen[0]} half of the plane" if unseen else listed(findings.unseen)
            return f"In part: what was made out agrees; not made out: {what}."
        worst = min(doubtful, key=lambda i: i.probability)
        return f"Too close to call: {_item_words(worst)}, where {worst.high:g} is allowed."
    level = max((abs(n.item.measured) for n in findings.leans), default=0.0)
    level = max(math.ceil(level * 10 - 1e-9), 1) / 10
    if findings.taken_for is As.OBLIQUE:
        return "Good by the rules of the craft: every loop closes."
    return f"Good by the rules of the craft: level within {level:.1f} degrees, every pair agrees."


def _unseen_halves(findings: CraftFindings) -> list[str]:
    if findings.taken_for is As.OBLIQUE:
        return [s for s in SIDES if not any(parsed(i.name).side == s for i in findings.sums)]
    seen = {n.side for n in findings.leans}
    return [s for s in SIDES if s not in seen]


def _failing(findings: CraftFindings) -> str:
    tilted = [n for n in findings.leans if n.item.verdict is Verdict.FAILS]
    failing = [p for p in findings.pairs if p.item.verdict is Verdict.FAILS]
    if tilted:
        halves = listed([f"the {n.side} half leans {abs(n.item.measured):.1f} degrees" for n in tilted])
        reasons = [pair_words(p) for n in tilted for p in failing if _makes(n, p)]
        text = f"{halves[0].upper()}{halves[1:]}"
        return f"{text}: {listed(reasons)}." if reasons else f"{text}; no single pair explains it."
    if failing:
        text = listed([pair_words(p) for p in failing])
        return f"{text[0].upper()}{text[1:]}."
    off = min((i for i in findings.items if i.verdict is Verdict.FAILS), key=lambda i: i.probability)
    return f"It does not shut flat: {_item_words(off)}, where {off.high:g} is allowed."


def _makes(lean: HalfLean, pair: PairFound) -> bool:
    share = lean.made.get(pair.item.name, 0.0) / lean.item.measured if lean.item.measured else 0.0
    return share > EVEN


def _item_words(item: Item) -> str:
    unit = "degrees" if item.unit == "deg" else "mm"
    n = parsed(item.name)
    if item.unit == "deg":
        return f"the {n.side} half leans {abs(item.measured):.1f} {unit}, known to within {item.expanded:.1f}"
    return f"{item.name} is off by {abs(item.measured):.1f} {unit}, known to within {item.expanded:.1f}"


def craft_notes(judgement: Judgement) -> list[str]:
    """Return what was taken for granted."""
    findings = judgement.findings
    taken = TAKEN_FOR[findings.taken_for]
    other = As.OBLIQUE if findings.taken_for is As.PARALLEL_FOLD else As.PARALLEL_FOLD
    notes = [
        f"No spec: judged by the rules of the craft as {taken}"
        + ("." if judgement.told_as else f"; if it is {TAKEN_FOR[other]}, say --as {other}."),
        f"Asked for: pairs alike within {judgement.tolerance.matched:g} mm, level within "
        f"{judgement.tolerance.level_deg:g} degrees. A spec can ask for other limits and judges lengths.",
    ]
    if findings.strange:
        told = [f"{i.name} by {abs(i.measured):.1f} mm" for i in findings.strange]
        notes.append(
            f"Off by more than hand work goes wrong: {listed(told)}. Their half of the plane is not "
            f"judged; if it is meant to lean, say --as {As.OBLIQUE}, or what was taken for a leg is none "
            "(a flap?): write a spec."
        )
    if findings.alike:
        apart = [i for i in findings.mirrors if abs(i.measured) > judgement.tolerance.matched + i.expanded]
        told = [f"{i.name} by {abs(i.measured):.1f} mm (±{i.expanded:.1f})" for i in apart]
        if told:
            notes.append(
                f"Left and right seem to be meant alike, but differ: {listed(told)}. If they are meant to "
                "differ, that is no fault."
            )
    return notes
