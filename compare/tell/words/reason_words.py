"""Why something is not determined, or was assumed, in words."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.quantities.undetermined import Rests, Undetermined, Why
from compare.tell.words.photos.measuring_words import unseen_words
from compare.units import MM, Unit
from measure.reasons import WhyUnseen

REASONS: Final[Mapping[Why, str]] = MappingProxyType(
    {
        Why.NOT_SEEN: "not seen",
        Why.JOINT_NOT_FOUND: "the {0} was not found in the photo",
        Why.HALF_MISREAD: "the {0} half of the plane was misread: its line does not come to the {1}",
        Why.HALF_NOT_FOUND: "the plane half or its page was not found",
        Why.LENGTH_MISSING: "a length it needs was not measured",
        Why.EDGE_NOT_SEEN: "the outer edge of the plane is not seen",
        Why.FEET_SHARED_OUT: (
            "the spine is not seen: the distance of the two feet is shared out as in the design"
        ),
        Why.COUNTED_FROM_FOOT: "the spine is not seen: counted from the inner foot",
        Why.FROM_DESIGN: "not seen: taken from the design",
        Why.PAGE_FROM_DESIGN: "the page is not seen from spine to fore edge: taken from the design",
        Why.OPENING_FROM_DESIGN: "both pages are not seen well enough: taken from the design",
    }
)


def reason_words(reason: Undetermined, unit: Unit = MM) -> str:
    """Return a reason, without capital and full stop."""
    if isinstance(reason, WhyUnseen):
        return unseen_words(reason, unit)
    if isinstance(reason, Rests):
        return f"{reason.length}: {reason_words(reason.reason, unit)}"
    return REASONS[reason.why].format(*reason.names)


def told_reasons(reasons: Mapping[str, Undetermined]) -> dict[str, str]:
    """Return name -> reason in words."""
    return {name: reason_words(reason) for name, reason in reasons.items()}


def unseen(reasons: Mapping[str, Undetermined], unit: Unit) -> list[str]:
    """Return one line per reason, naming all that falls to it."""
    by_reason: dict[str, list[str]] = {}
    for name, reason in reasons.items():
        told = reason.reason if isinstance(reason, Rests) and reason.length in reasons else reason
        by_reason.setdefault(reason_words(told, unit), []).append(name)
    return [f"{', '.join(names)}: {told}" for told, names in by_reason.items()]
