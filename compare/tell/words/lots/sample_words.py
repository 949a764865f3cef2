"""What is said of one sample in its lot."""

from typing import Final

from compare.lot.run.samples import Reading, Sample
from compare.tell.words.plain_words import listed
from compare.verdict.conformity import COVERAGE, Rule, Verdict

MOST_TOLD: Final = 3


def sample_answer(sample: Sample, rule: Rule) -> str:
    """Return the photo's own answer, or the lot's where this knows more or leaves something aside."""
    aside = any(r.left_aside(rule) for r in sample.readings.values())
    if sample.verdict is None or (sample.verdict is sample.by_photo and not aside):
        return sample.answer
    if sample.verdict is Verdict.CONFORMS:
        return "Conforms in all that is judged." if aside else "Conforms."
    telling = [r for r in sample.readings.values() if r.verdict(rule) is sample.verdict]
    telling = [r for r in telling if not r.left_aside(rule)]
    telling.sort(key=lambda r: -_used(r))
    if not telling:
        return sample.answer
    start = "Does not conform" if sample.verdict is Verdict.FAILS else "Too close to call"
    more = f" and {len(telling) - MOST_TOLD} more" if len(telling) > MOST_TOLD else ""
    told = [
        f"{r.name} off by {r.deviation:+.2f} ± {COVERAGE * r.u:.2f} {r.unit}" for r in telling[:MOST_TOLD]
    ]
    return f"{start}: {', '.join(told) + more if more else listed(told)}."


def _used(r: Reading) -> float:
    """Return how much of its limit a reading has used up."""
    limit = r.high if r.deviation > 0 else -r.low
    return abs(r.deviation) / limit if limit > 0 else 0.0
