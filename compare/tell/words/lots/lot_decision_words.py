"""The decision on a lot in words: the headline, and what it rests on."""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from compare.compare_errors import LotOption
from compare.lot.lot_decision import Basis, Counts, Decision
from compare.lot.plans.attribute_plans import REDUCED_SCORE, Plan, SwitchReason
from compare.lot.plans.plan_risks import Risks
from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics
from compare.tell.words.lots.lot_words import became, percent, size
from compare.tell.words.name_words import spoken
from compare.tell.words.option_names import COMMAND_LINE
from compare.tell.words.plain_words import capital, listed
from compare.vocabulary import parsed

SWITCHES: Final[Mapping[SwitchReason, str]] = MappingProxyType(
    {
        SwitchReason.FIRST_LOTS: "the first lots are inspected normally",
        SwitchReason.TWO_OF_FIVE: "two of the last five lots (or fewer) were not accepted",
        SwitchReason.SCORE: f"the switching score has reached {REDUCED_SCORE}",
        SwitchReason.NOTHING: "nothing asks for a switch",
        SwitchReason.FIVE_REFUSED: "five lots were not accepted under tightened inspection",
        SwitchReason.FIVE_ACCEPTED: "five lots in a row were accepted under tightened inspection",
        SwitchReason.STAYS_TIGHTENED: "tightened until five lots in a row are accepted",
        SwitchReason.REFUSED_REDUCED: "a lot was not accepted under reduced inspection",
        SwitchReason.BEYOND_REDUCED: "a lot under reduced inspection went beyond its acceptance number",
        SwitchReason.STAYS_REDUCED: "reduced as long as every lot is accepted",
    }
)
"""Why the switching rules ask for the inspection they do."""
NOTHING_SAID: Final = 0.9  # a share known no better than this is not worth a sentence
_START: Final = {"accept": "Accept", "do not accept": "Do not accept", "undecided": "Undecided"}


def since(s: Statistics, samples: Sequence[Sample]) -> str:
    """Return since when it changed."""
    if s.course.kind == "drift":
        return "over the whole lot"
    return f"since {samples[s.samples[s.course.start]].when}"


def drift_words(s: Statistics, samples: Sequence[Sample]) -> str:
    """Return what changed, how much, since when, and where it stands: without a full stop."""
    how = "gets" if s.course.kind != "step" else "became"
    limit = s.high if s.now > 0 else -s.low
    stands = f"now {size(s.now, s.unit)} off"
    if math.isfinite(limit):
        stands += f" with {size(limit, s.unit)} allowed"
    return (
        f"{spoken(s.name)} {how} {became(s.kind, s.course.change)}, {size(s.course.change, s.unit)} "
        f"{since(s, samples)}, {stands}"
    )


def headline(decision: Decision, samples: Sequence[Sample]) -> str:
    """Return the decision in one sentence."""
    moving, why = decision.moving, _why(decision)
    if decision.stop and moving:
        return f"Stop the line: {drift_words(moving[0], samples)}."
    if decision.stop:
        return f"Stop the line: {why}."
    text = f"{_START[decision.word]}: {why}"
    return f"{text}; but watch: {drift_words(moving[0], samples)}." if moving else f"{text}."


def sentences(decision: Decision, samples: Sequence[Sample]) -> list[str]:
    """Return what the decision rests on: what else drifts, the plan and its risks, the samples alone."""
    d = decision
    out = [f"{capital(drift_words(s, samples))}." for s in d.moving[1:]]
    follow = [s.name for s in d.drifting if s.kind != "length"]
    if follow and d.drifting[0].kind == "length":
        out.append(f"With it changed: {listed(follow)}.")
    if d.stop and d.drifting:
        out.append(f"The lot itself: {d.word} ({_why(d)}).")
    if d.plan is None:
        size_of, aql = COMMAND_LINE[LotOption.SIZE], COMMAND_LINE[LotOption.AQL]
        out.append(
            f"No sampling plan was asked for ({size_of}, {aql}): this judges the samples, not the whole lot."
        )
    else:
        out += _plan_sentences(d, d.plan)
    if d.left_aside:
        out.append(
            f"Left aside, as no photo settles it while the spine is not known: {listed(list(d.left_aside))}. "
            "A tick of ink on the spine, at the near end, is enough."
        )
    if d.counts.open:
        out.append(
            f"By the measured values alone {d.out_of_limits} of {d.counts.judged} samples are out of a "
            f"limit; {d.counts.open} are too near to one to be sure."
        )
    if d.counts.judged and d.share[1] - d.share[0] < NOTHING_SAID:
        out.append(
            f"From these samples alone, {percent(d.share[0])} to {percent(d.share[1])} of such pieces do not "
            "conform (95 % confidence)."
        )
    return out


def _why(d: Decision) -> str:
    """Return what the decision was made by, without a full stop."""
    off = ", but the line does not hold its course" if d.off_course else ""
    counts = d.counts if d.by_plan is None else d.by_plan
    aside = f" ({listed(kinds_of(d.left_aside))} not judged)" if d.left_aside and d.word == "accept" else ""
    return f"{_basis(d.basis, counts, d.plan)}{aside}{off}"


def kinds_of(names: Sequence[str]) -> list[str]:
    """Return the things by their kind, each once: "clearance"."""
    return list(dict.fromkeys(str(parsed(n).told or parsed(n).bare) for n in names))


def _basis(basis: Basis, counts: Counts, plan: Plan | None) -> str:
    failing, judged = counts.failing, counts.judged
    most = failing + counts.open
    if plan is not None:
        match basis:
            case Basis.REFUSAL_REACHED:
                return f"{failing} nonconforming samples are {plan.reject} or more"
            case Basis.TOO_FEW_JUDGED:
                return f"the plan wants {plan.n} samples, {plan.n - judged} more than could be judged"
            case Basis.WITHIN_ACCEPTANCE:
                return f"at most {most} nonconforming among {judged}, {plan.accept} are allowed"
            case Basis.BELOW_REFUSAL:
                return (
                    f"at most {most} nonconforming among {judged}, fewer than {plan.reject}; the next lot is "
                    "inspected normally"
                )
            case Basis.DOUBT_DECIDES:
                return (
                    f"{failing} to {most} nonconforming, {plan.accept} are allowed: look again at those too "
                    "close to call"
                )
    match basis:
        case Basis.SOME_FAIL:
            return f"{failing} of {judged} {'sample does' if failing == 1 else 'samples do'} not conform"
        case Basis.NONE_JUDGED:
            return "no sample could be judged"
        case Basis.BY_THE_WHOLE:
            return (
                f"together the {judged} samples hold 95 % of such pieces inside their limits (95 % "
                f"confidence), though {counts.open} of them alone {'is' if counts.open == 1 else 'are'} too "
                "close to call"
            )
        case Basis.SOME_OPEN:
            return f"{counts.open} of {judged} samples are too close to call"
        case _:
            return f"all {judged} samples conform"


def _plan_sentences(d: Decision, p: Plan) -> list[str]:
    assert d.switch is not None and d.risks is not None and d.beyond_plan is not None
    beyond = d.beyond_plan
    out = [
        f"Sampling plan: {p.n} of {p.size} pieces, accept with {p.accept} nonconforming, refuse with "
        f"{p.reject} (MIL-STD-105E, AQL {p.aql:g} %, {p.severity} inspection).",
    ]
    if beyond.judged:
        out.append(
            f"The plan looks at the first {p.n} samples in the order of making; the other {beyond.judged} do "
            f"not count for it ({beyond.failing} of them nonconforming)."
        )
    out.append(_risk_sentence(p, d.risks))
    if d.switch.stop:
        out.append("Five lots were not accepted under tightened inspection: stop until the cause is mended.")
    elif d.switch.severity != p.severity:
        why = SWITCHES[d.switch.reason]
        out.append(f"By the switching rules {d.switch.severity} inspection is due: {why}.")
    return out


def _risk_sentence(p: Plan, r: Risks) -> str:
    if p.whole_lot:
        return "The lot is no larger than the sample: every piece is looked at, so nothing is left to risk."
    return (
        f"Risks of this plan: a lot with {p.aql:g} % nonconforming is refused {percent(r.producer)} of "
        f"the time; one with {percent(r.consumer_share)} is still accepted once in ten times."
    )
