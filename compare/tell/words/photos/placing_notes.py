"""What was taken for granted about where the dummy stands, in sentences."""

from collections.abc import Sequence

from capture.errors import Option
from capture.placing import ApronUsed, Assumed, Depth, NearEnd, PageKnown, TakenFor, Why
from compare.tell.words.option_names import COMMAND_LINE
from compare.units import Unit

_USE = {"arch": "an arch (flush with the near end)", "backdrop": "a backdrop (behind the dummy)"}
_ON_PAGE = {"band": "The sheet's folded lower band", "sill": "The sheet's sill", "doorstep": "A doorstep"}
_OTHER_WAY = {
    "arch": ("backdrop", Option.USE_BACKDROP),
    "backdrop": ("arch", Option.USE_ARCH),
}
_DEPTH = {Depth.BASE: "base depth", Depth.STRIPS: "strip depth", Depth.MARKS: "as the marks on the page say"}


def placing_notes(assumed: Sequence[Assumed], unit: Unit) -> list[str]:
    """Return a sentence for each thing taken for granted."""
    return [_sentence(a, unit) for a in assumed]


def _sentence(a: Assumed, unit: Unit) -> str:
    match a:
        case TakenFor(use, Why.OTHER_MADE_NO_SENSE):
            other, option = _OTHER_WAY[use]
            return (
                f"The sheet is taken for {_USE[use]}: as {_USE[other]} the dummy made no sense. "
                f"If that is wrong, say {COMMAND_LINE[option]}."
            )
        case TakenFor(use, why):
            seen = (
                "its lower band is in the picture"
                if why is Why.BAND_SEEN
                else "no lower band is in the picture"
            )
            return (
                f"The sheet is taken for {_USE[use]}: {seen}. If that is wrong, say "
                f"{COMMAND_LINE[Option.USE]}."
            )
        case NearEnd(mm, by):
            far = f"{unit.plain(mm)} {unit.name}"
            return f"The near end is taken to stand {far} in front of the sheet ({_DEPTH[by]})."
        case ApronUsed():
            return "An apron hangs from the base: page line, spine and near end are taken from it."
        case PageKnown(source):
            return f"{_ON_PAGE[source]} lies on the page: the page line is taken from it."


def traced_placing_notes(assumed: Sequence[Assumed]) -> list[str]:
    """Return what is told of it where no design is at hand: that the sheet is taken for an arch."""
    return [
        f"The sheet is taken for an arch, flush with the near end; if that is wrong, say "
        f"{COMMAND_LINE[Option.USE]}."
        for a in assumed
        if a == TakenFor("arch", Why.BAND_NOT_SEEN)
    ]
