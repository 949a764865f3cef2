"""What the samples measured by hand brought, in words."""

from compare.lot.assess_lot import Assessment
from compare.lot.study.master import Comparison
from compare.tell.words.lots.lot_words import became, size
from compare.tell.words.name_words import spoken
from compare.tell.words.plain_words import listed
from compare.verdict.conformity import COVERAGE

WORTH_SAYING_MM = 0.05


def comparison_sentences(a: Assessment) -> list[str]:
    """Return what the comparison with masters took off; [] without masters."""
    c = a.comparison
    if c is None:
        return []
    kinds = {s.name: s for s in a.statistics}
    shifts = sorted((x for x in c.corrections if x.name in kinds), key=lambda x: -abs(x.shift))
    told = [
        f"{spoken(x.name)} {size(x.shift, 'mm')} {became('length', x.shift)}"
        for x in shifts
        if kinds[x.name].kind == "length" and abs(x.shift) >= WORTH_SAYING_MM
    ]
    return [
        _who(c) + (f" The photos show {listed(told[:4])} than the hand; taken off." if told else ""),
        _now(a),
    ]


def _who(c: Comparison) -> str:
    one = len(c.masters) == 1
    return (
        f"Compared with sample{'' if one else 's'} {listed(list(c.masters))}, measured by hand: what all "
        "photos of this set-up share cancels."
    )


def _now(a: Assessment) -> str:
    """Return how sure a length of a sample is now, and what would make it surer."""
    lengths = sorted(COVERAGE * s.u for s in a.statistics if s.kind == "length")
    if not lengths:
        return "No length was seen on three samples or more."
    middle = lengths[len(lengths) // 2]
    more = (
        ""
        if a.comparison is not None and len(a.comparison.masters) >= 3
        else (" Three samples measured by hand make it surer.")
    )
    return f"A length of one sample is now known within {size(middle, 'mm')} (median, 95 %).{more}"
