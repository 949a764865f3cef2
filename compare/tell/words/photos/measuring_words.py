"""What measuring says of a photo, in words: why something was not measured, what to know of what was."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.units import MM, Unit
from measure.reasons import Note, Noted, Unseen, WhyUnseen

UNSEEN: Final[Mapping[Unseen, str]] = MappingProxyType(
    {
        Unseen.NO_TRACE: "no trace of it",
        Unseen.FEW_PLACES: "its near end shows at only {n_seen} of {n_tried} places",
        Unseen.FEW_AGREE: "only {n_seen} of {n_tried} places agree, and those not well",
        Unseen.FAINT: "its near end hardly stands out from what lies behind",
        Unseen.NO_STRAIGHT_EDGE: "what was found in its place is no straight edge (scatter {size})",
        Unseen.LEG_GOES_ON: "{names} goes on beyond the edge found in its place",
        Unseen.MISSES_RIDGE: "the edge found in its place misses the ridge by {size}",
        Unseen.NOT_FOUND: "not found",
        Unseen.INK_UNSEEN: "its inked near end is not seen",
        Unseen.INK_FEW_PLACES: "its inked near end shows at only {n_seen} of {n_tried} places",
        Unseen.NO_EVEN_LINE: "what was found in its place is no even line (scatter {size})",
        Unseen.BOWED: "it is bowed by {size}, too much to tell its length",
        Unseen.PANELS_MISSING: "{names} not found in the photo",
        Unseen.SPINE_UNMARKED: "the spine cannot be seen on a flat, unmarked base",
        Unseen.NOT_LOOKED_FOR: "not looked for in this photo",
        Unseen.PANEL_LEFT_OUT: "its panel is left out",
        Unseen.PLANE_END_UNSURE: "where the plane ends cannot be told",
        Unseen.LOOKS_DIFFER: "two looks at the photo place it differently",
        Unseen.OFF_THE_PLANE: "it does not lie in the plane",
        Unseen.FOOT_UNSURE: "too little of its strip is seen to tell where it stands",
    }
)

NOTED: Final[Mapping[Noted, str]] = MappingProxyType(
    {
        Noted.PAGE_FAINT: (
            "The edge of {names} hardly shows (white before white?), so all heights are known only roughly: "
            "draw a felt-pen line along the near edge of the base, or hang the apron from it."
        ),
        Noted.HAND_DIFFERS: (
            "The {names} pointed at by hand lies {size} from where the photo's edges put it; the hand's "
            "place is used."
        ),
        Noted.UNNAMED: ("No construction with a name was recognised: the panels are numbered from the left."),
        Noted.UPPER_STAGE: (
            "Another fold stands on the plane: upper stages are not traced, only the lowest one is told; a "
            "spec lets foldgauge measure all of them."
        ),
        Noted.HALF_WITHOUT_LEG: ("The {names} half of the plane is left out: no leg under it was confirmed."),
        Noted.HALF_UNCLEAR: "The {names} half of the plane is left out: it was not seen clearly.",
        Noted.LEGS_LEFT_OUT: "Left out, not confirmed: {listed}.",
        Noted.JOINT_LOOKS_DIFFER: "The {names} is left out: two looks at the photo place it differently.",
        Noted.JOINT_OFF_PLANE: (
            "The {names} is left out: it does not lie between the ridge and the plane's edge."
        ),
        Noted.WIDER_PAGE: (
            "the page is seen {size} wider at the {names} than a page of {whole}, as boards "
            "wrapped round a thick spine are; what sticks out is counted from the page as seen"
        ),
        Noted.WHOLE_EDGE: (
            "along the whole {names} the outline lies {size} beyond a page of {whole}: taken for "
            "card, or for the lower page; if the page is wider than designed, that is no card"
        ),
    }
)


def unseen_words(why: WhyUnseen, unit: Unit = MM) -> str:
    """Return why something was not measured, without capital and full stop."""
    return UNSEEN[why.kind].format(
        names=" and ".join(why.names), n_seen=why.n_seen, n_tried=why.n_tried, size=unit.words(why.mm)
    )


def measured_note(note: Note, unit: Unit) -> str:
    """Return what is to be known of a measurement, as a sentence."""
    return NOTED[note.kind].format(
        names=" and ".join(note.names),
        listed=", ".join(note.names),
        size=unit.words(note.mm),
        whole=unit.words(note.size_mm),
    )
