"""The answer in the first line, in plain words, and what else must be said at once."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.cause.causes import Cause
from compare.cause.lean import Leaning
from compare.cause.symptoms import candidate_for
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import feet_lengths
from compare.tell.words.cause_words import cause_sentence
from compare.tell.words.doubt_words import too_close
from compare.tell.words.plain_words import capital, chance, listed
from compare.tell.words.shut_words import binding_sentence, clearance_words, overhang_sentence
from compare.tell.words.symptom_words import symptom_sentence
from compare.units import Unit, unit_of
from compare.verdict.conformity import Item, Verdict
from compare.verdict.findings import Findings
from compare.verdict.shut_reach import shut
from compare.vocabulary import Kind, Told, named, parsed

MANY: Final = 4  # faults in one dummy; so many point to a wrong set-up rather than to careless cutting


def _degrees(x: float) -> str:
    return f"{abs(x):.1f} degrees"


def _long_or_short(deviation: float) -> str:
    return "too long" if deviation > 0 else "too short"


def level_within(findings: Findings) -> float:
    """Return the smallest tenth of a degree that holds all leans about the design's own."""
    worst = max((abs(n.item.deviation) for n in findings.leans), default=0.0)
    return max(math.ceil(worst * 10 - 1e-9), 1) / 10


def _explained(cause_effects: float, leaning: Leaning) -> bool:
    """Return whether named causes make at least half of what the lean is off by."""
    off = leaning.item.deviation
    return cause_effects * off > 0 and abs(cause_effects) >= 0.5 * abs(off)


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer, the causes it names, and whether it tells of card that sticks out or nearly."""

    text: str
    causes: tuple[Cause, ...] = ()
    tells_clearance: bool = False


def _lean_sentence(findings: Findings, tilted: Sequence[Leaning], unit: Unit) -> Answer:
    halves = [f"the {n.side} half leans {_degrees(n.item.measured)}" for n in tilted]
    first = halves[0] if len(halves) == 1 else _several(tilted, len(findings.spec.mechanism.halves))
    subject = capital(first)
    useful: list[Cause] = []
    for n in tilted:
        way = np.sign(n.item.deviation)  # causes that lean the other way do not explain it
        made = [c for c in findings.causes if c.lean_deg.get(n.side, 0.0) * way >= 0.1]
        if _explained(sum(c.lean_deg[n.side] for c in made), n):
            useful += [c for c in made if c not in useful]
    if useful:
        told = listed([cause_sentence(c, unit) for c in useful])
        return Answer(f"{subject}: {told}.", tuple(useful))
    worst = max(tilted, key=lambda n: abs(n.item.deviation))
    if math.isnan(worst.solved_deg):
        return _half_seen(findings, tilted, subject, unit)
    if abs(worst.remainder_deg) > 0.5 * abs(worst.item.deviation):
        seen = candidate_for(worst, findings.symptoms)
        why = symptom_sentence(seen, unit) if seen else "look for a bowed or badly seen panel"
        return Answer(f"{subject}: the lengths do not explain it, {why}.")
    if worst.contributions:
        top = worst.contributions[0]
        return Answer(
            f"{subject}: no single fault explains it, small errors add up; the largest share is "
            f"{top.length} ({unit.words(abs(top.deviation_mm))} {_long_or_short(top.deviation_mm)})."
        )
    return Answer(f"{subject}; the lengths that would explain it were not all seen.")


def _half_seen(findings: Findings, tilted: Sequence[Leaning], subject: str, unit: Unit) -> Answer:
    """Say what most likely makes a half lean where not all lengths that decide it were seen."""
    governs = {k for n in tilted for k in findings.spec.mechanism.half(n.side).governs}
    likely = [c for c in findings.causes if governs & set(c.fault.pattern)]
    if not likely:
        return Answer(f"{subject}; the lengths that would explain it were not all seen.")
    told = listed([cause_sentence(c, unit) for c in likely])
    return Answer(f"{subject}, most likely because {told}; not all that decides it was seen.", tuple(likely))


def _several(tilted: Sequence[Leaning], of: int) -> str:
    each = listed([f"the {n.side} one {_degrees(n.item.measured)}" for n in tilted])
    return f"{'both' if len(tilted) == of == 2 else len(tilted)} halves lean, {each}"


def _clearances_words(items: Sequence[Item], unit: Unit) -> str:
    """Return one clause for one side or both."""
    if len(items) == 2 and all(i.measured < 0 for i in items):
        a, b = items
        side = parsed(b.name).side
        return f"{clearance_words(a, unit)} and {unit.words(-b.measured)} past the {side} one"
    return listed([clearance_words(i, unit) for i in items])


def _adds_reach(cause: Cause, side: str, findings: Findings) -> float:
    """Return how much farther card reaches towards the fore edge for this cause, mm."""
    p = cause.fault.pattern
    chain = shut(findings.measured, findings.spec, side)
    farthest = chain.lengths if chain is not None else ()
    return (sum(p.get(k, 0.0) for k in farthest) - p.get(named(Kind.PAGE, side), 0.0)) * cause.size_mm


def _item_words(item: Item, unit: Unit) -> str:
    """Return a failing length or pair in words, where no fault goes by its name."""
    size = unit.words(abs(item.deviation))
    n = parsed(item.name)
    if n.compares and not n.told:
        return f"{item.name} does not hold, they differ by {size}"
    if n.told == Told.CLOSING_SUM:
        return f"the {item.name} is off by {size}"
    return f"{item.name} is {size} {_long_or_short(item.deviation)}"


def _failing(findings: Findings) -> Answer:
    unit = unit_of(findings.spec.units)
    tilted = [n for n in findings.leans if n.item.verdict is Verdict.FAILS]
    short = [i for i in findings.clearances if i.verdict is Verdict.FAILS]
    causes = listed([cause_sentence(c, unit) for c in findings.causes])
    if tilted:
        return _lean_sentence(findings, tilted, unit)
    if short:
        first = _clearances_words(short, unit)
        sides = [parsed(i.name).side for i in short]
        made = [c for c in findings.causes if any(_adds_reach(c, s, findings) > 0 for s in sides)]
        why = f": {listed([cause_sentence(c, unit) for c in made])}" if made else ""
        return Answer(f"Shut, {first}{why}.", tuple(made), tells_clearance=True)
    level = _though_level(findings)
    if causes:
        return Answer(f"Does not conform: {causes}{level}.", findings.causes)
    failing = [i for i in (*findings.lengths, *findings.pairs) if i.verdict is Verdict.FAILS]
    worst = min(failing, key=lambda i: i.probability)
    return Answer(f"Does not conform: {_item_words(worst, unit)}{level}.")


def _though_level(findings: Findings) -> str:
    """Say that the plane is level all the same, where that is sure; "" where it is not."""
    sure = findings.leans and all(n.item.verdict is Verdict.CONFORMS for n in findings.leans)
    return f", though it stands level within {level_within(findings):.1f} degrees" if sure else ""


def answer(findings: Findings) -> str:
    """Return the answer to the whole question in one line."""
    if findings.verdict is Verdict.FAILS:
        return _failing(findings).text
    if findings.verdict is Verdict.OPEN:
        return too_close(findings)
    by_design = any(abs(n.item.nominal) > 0.05 for n in findings.leans)
    level = f"{'leaning as designed' if by_design else 'level'} within {level_within(findings):.1f} degrees"
    return f"Conforms: {level}, every length and matched pair within tolerance."


def also(findings: Findings) -> tuple[str, ...]:
    """Return what else fails that the answer does not say: whole sentences."""
    unit = unit_of(findings.spec.units)
    said = _failing(findings) if findings.verdict is Verdict.FAILS else Answer("")
    out: list[str] = []
    for i in findings.clearances:
        if i.verdict is Verdict.FAILS and not said.tells_clearance:
            out.append(f"Shut, {clearance_words(i, unit)}.")
    for c in findings.causes:
        if c not in said.causes:
            words = cause_sentence(c, unit)
            sure = findings.verdict is Verdict.FAILS
            out.append(f"{capital(words) if sure else f'Most likely {words}'}.")
    touched = {k for c in findings.causes for k in c.fault.pattern}
    if touched & set(feet_lengths(findings.spec.mechanism) or ()):
        touched.add(FEET)
    for i in findings.lengths:
        if i.verdict is Verdict.FAILS and i.name not in touched:
            words = _item_words(i, unit)
            out.append(f"{capital(words)}.")
    if len(findings.diagnosis.named) >= MANY:
        n_faults = len(findings.diagnosis.named)
        out.append(
            f"{n_faults} faults at once are unlikely: check that this is the right spec, "
            "how the sheet was used (--use, --standoff) and that it was printed at 100 %."
        )
    out += _redundant(findings)
    out += [
        _unexplained(n, findings)
        for n in findings.leans
        if n.remainder_matters and n.item.verdict is not Verdict.CONFORMS
    ]
    if findings.binding is not None and findings.binding.matters:
        out.append(binding_sentence(findings.binding))
    out += [overhang_sentence(o, unit) for o in findings.overhangs if o.disagrees]
    return tuple(out)


def _redundant(findings: Findings) -> list[str]:
    """Say of a half on several legs, one of which is to blame, which leg sets its level."""
    out = []
    blamed = {k for c in findings.causes for k in c.fault.pattern}
    for half in findings.spec.mechanism.halves:
        legs = [k for k in half.governs if parsed(k).kind == Kind.LEG and parsed(k).side == half.side]
        legs = [k for k in legs if parsed(k).stage == parsed(half.plane).stage]
        numbers = {parsed(k).number for k in blamed if parsed(k).side == half.side and parsed(k).number}
        if len(legs) > 1 and numbers:
            out.append(
                f"The {half.name} half stands on {len(legs)} legs, {len(legs) - 1} more than it needs: the "
                f"outermost ({legs[-1]}) sets its level, the others must match it or they strain the plane."
            )
    return out


def _unexplained(leaning: Leaning, findings: Findings) -> str:
    """Say how much of a lean no length explains, and what the photo shows that might."""
    seen = candidate_for(leaning, findings.symptoms)
    unit = unit_of(findings.spec.units)
    why = symptom_sentence(seen, unit) if seen else "look for a bowed panel or a base that does not lie flat"
    amount = f"{abs(leaning.remainder_deg):.1f} degrees of the {leaning.side} half's lean"
    return f"{amount} are not explained by any length: {why}."


def runner_up(findings: Findings) -> str:
    """Return a line on the second-best cause if it is nearly as likely as the best, else ""."""
    named = findings.diagnosis.named
    others = [c for c in findings.diagnosis.causes if not c.named]
    if not (named and findings.causes and others) or len(named) > 2:
        return ""  # a third fault is added without weighing all triples, so there are no odds to tell
    best = min(c.probability for c in named)
    rival = others[0]
    if rival.probability < 0.1 or best > 0.9:
        return ""
    unit = unit_of(findings.spec.units)
    odds = f"{chance(rival.probability)} against {chance(best)}"
    return f"Nearly as likely ({odds}): {cause_sentence(rival, unit)}."
