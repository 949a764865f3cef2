"""What would make a photo better, in words: what was measured, and what to do."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from capture.advice import Advice, Weak
from compare.units import MM, Unit

GOOD_PX_PER_MM: Final = 10.0
_BLURRED: Final = "the picture is blurred by {size} ({px:.1f} px): "
_REST: Final = "so the camera moved: rest it on something, use more light"
_FIT_TO_PAGE: Final = "as 'fit to page' makes it: print at 100 %, or measure both check bars"
ADVICE: Final[Mapping[Weak, str]] = MappingProxyType(
    {
        Weak.CARD_UNSEEN: (
            "only {density}: a card's thickness is no longer seen; fill the picture with the sheet "
            "({good} is good)"
        ),
        Weak.COARSE: "{density} is coarse: fill the picture with the sheet ({good} is good)",
        Weak.FROM_SIDE: (
            "the sheet is seen {amount:.0f} degrees from the side: uneven near ends shift the result; look "
            "straight along the spine"
        ),
        Weak.NEAR: (
            "the camera is {amount:.0f} cm away: near ends that are not flush shift the result; step back to "
            "50-120 cm and zoom in"
        ),
        Weak.SHAKEN_UP: f"{_BLURRED}mostly up and down, {_REST}",
        Weak.SHAKEN_ACROSS: f"{_BLURRED}mostly sideways, {_REST}",
        Weak.OUT_OF_FOCUS: (
            f"{_BLURRED}the same both ways, so it is out of focus: tap on the near end of the dummy to focus "
            "there"
        ),
        Weak.WIDE_LENS: (
            "an ultra-wide lens took it ({amount:.0f} mm equivalent): take the main camera, or 2x"
        ),
        Weak.GLARE: (
            "light glares on {count} marks, their black is no longer dark: turn the lamp or the sheet, use "
            "matt paper"
        ),
        Weak.NO_APRON: (
            "no apron is seen, so the page line is looked for on bare card: hang the sheet's apron from the "
            "near edge of the base, or draw a felt-pen line along it"
        ),
        Weak.BURNT_OUT: "white is burnt out at {amount:.0f} % of the marks: expose one stop less",
        Weak.FLAT_LIGHT: ("black and white differ by only {amount:.0f} of 255 levels: more light, no haze"),
        Weak.PRINT_WIDE: f"the print is {{amount:.1f}} % too wide, {_FIT_TO_PAGE}",
        Weak.PRINT_HIGH: f"the print is {{amount:.1f}} % too high, {_FIT_TO_PAGE}",
        Weak.PRINT_DOUBTFUL: (
            "the print scale is {amount:.1f} % doubtful: measure the sheet's two check bars with a steel "
            "rule and give both lengths"
        ),
        Weak.MARKS_HIDDEN: (
            "only {count} of the {of} marks on the left, top and right of the sheet are seen: show the whole "
            "ring, without glare"
        ),
        Weak.NOT_FLAT: (
            "the marks lie {size} (rms) off one plane: the sheet is not flat; glue it on stiff board"
        ),
        Weak.BOWED: ("the sheet is bowed by about {size}; this is allowed for, but glue it on stiff board"),
    }
)
"""By what is weak."""


def photo_advice(advice: Advice, unit: Unit) -> str:
    """Return one piece of advice: what was measured and what to do, without full stop."""
    return ADVICE[advice.kind].format(
        amount=advice.amount,
        size=_size(advice.amount, unit),
        density=_density(advice.amount, unit),
        good=_density(GOOD_PX_PER_MM, unit),
        px=advice.px,
        count=advice.count,
        of=advice.count_of,
    )


def _size(mm: float, unit: Unit) -> str:
    """Return a small size: two decimals of a millimetre, or the nearest 64th of an inch."""
    return f"{mm:.2f} mm" if unit is MM else unit.words(mm)


def _density(px_per_mm: float, unit: Unit) -> str:
    return f"{px_per_mm * unit.mm:.{1 if unit is MM else 0}f} px/{unit.name}"


def photo_advice_line(advice: Advice, unit: Unit) -> str:
    """Return the advice with its price."""
    length = "60 mm" if unit is MM else unit.words(60)
    return f"{photo_advice(advice, unit)} (about {_size(advice.cost_mm, unit)} on a length of {length})"
