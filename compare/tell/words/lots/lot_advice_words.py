"""What to tell the assemblers, in words: what is seen, and what to do."""

from collections.abc import Sequence

from compare.compare_errors import LotOption
from compare.lot.lot_advice import Advice, AdviceKind
from compare.lot.run.samples import Sample
from compare.lot.study.lot_statistics import Statistics
from compare.tell.words.lots.lot_decision_words import since
from compare.tell.words.lots.lot_words import became, percent, size
from compare.tell.words.name_words import spoken
from compare.tell.words.option_names import COMMAND_LINE
from compare.tell.words.plain_words import capital
from compare.verdict.conformity import COVERAGE
from compare.vocabulary import parsed


def advice_seen(advice: Advice, samples: Sequence[Sample]) -> str:
    """Return what is seen, one sentence."""
    s, g = advice.statistics, advice.grouping
    name = capital(spoken(s.name))
    match advice.kind:
        case AdviceKind.CHANGED:
            how = became(s.kind, s.course.change)
            return f"{name} became {how} by {size(s.course.change, s.unit)} {since(s, samples)}."
        case AdviceKind.OFF:
            too = "long" if s.mean > 0 else "short"
            return f"{name} is {size(s.mean, s.unit)} too {too} in the mean of {s.n} samples."
        case AdviceKind.SEEMS_OFF:
            too = "long" if s.mean > 0 else "short"
            return (
                f"The photos show {spoken(s.name)} {size(s.mean, s.unit)} too {too} in the mean of {s.n} "
                f"samples, but all photos alike may be off by up to {size(COVERAGE * s.common, s.unit)}."
            )
        case AdviceKind.VARIES:
            least = s.share_range[0]
            out = f", at least {percent(least)} of pieces out of limits" if least >= 0.001 else ""
            return (
                f"{name} varies from piece to piece by {size(2 * s.course.spread, s.unit)} either way{out}."
            )
        case AdviceKind.DEPENDS:
            assert g is not None
            return (
                f"{name} depends on the {g.column}: with {g.longest.label} it is "
                f"{size(g.difference, s.unit)} longer than with {g.shortest.label}."
            )


def advice_do(advice: Advice) -> str:
    """Return what to do about it, one or two sentences."""
    s, g = advice.statistics, advice.grouping
    match advice.kind:
        case AdviceKind.CHANGED:
            what = "wear or slipping" if s.course.kind != "step" else "a change"
            do = f"Look for {what} at {_tool(s)}"
            if c := advice.comes_with:
                do += f"; it comes with the change from {c.column} {c.before} to {c.after}"
            if not advice.sets:  # how far it is off carries what is common to all photos
                return f"{do}. Measure one of the last pieces by hand, and set it by that reading."
            back = f"{size(s.now, s.unit)} {became(s.kind, -s.now)}"
            return f"{do}. Set it {back} again, then photograph three pieces in a row."
        case AdviceKind.OFF:
            return f"Set {_tool(s)} {size(s.mean, s.unit)} {became(s.kind, -s.mean)} for all pieces."
        case AdviceKind.SEEMS_OFF:
            return (
                f"Change nothing yet: measure it by hand on three of the samples and give the readings with "
                f"{COMMAND_LINE[LotOption.MASTER]}."
            )
        case AdviceKind.VARIES:
            if parsed(s.name).is_glued:
                return "Glue it against a jig or stop instead of by eye."
            return "Cut and score it against a stop, not by eye."
        case AdviceKind.DEPENDS:
            assert g is not None
            return (
                f"Compare {g.column} {g.longest.label} with {g.column} {g.shortest.label}; "
                f"{g.worst.label} is farther off the design."
            )


def _tool(s: Statistics) -> str:
    if parsed(s.name).is_glued:
        return "the gluing jig or the pencil mark it is placed by"
    return "the die, the blade and the stop it is cut and scored against"
