"""Where the dummy stands before the sheet: as was said, as the photo shows, or as is taken for granted.

A placing is an assumption. Where nobody said how the sheet was used there may be a second one, to be tried if
the dummy makes no sense under the first.
"""

from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Final

from capture.camera.known_page import PageSource
from capture.camera.view import View
from capture.errors import Option, SetupError
from capture.setup import Setup, Use
from capture.solved import Solved

RULED_DEPTH_SD: Final = 0.5
"""mm; a standoff given by hand: a depth read with a ruler. Common practice, no source."""

SPEC_DEPTH_SD: Final = 1.0
"""mm; a standoff taken from the spec: the sheet never stands quite flush behind. Common practice."""


class Why(Enum):
    """Why the sheet is taken for an arch or a backdrop where nobody said which."""

    BAND_SEEN = auto()
    BAND_NOT_SEEN = auto()
    OTHER_MADE_NO_SENSE = auto()


class Depth(Enum):
    """What a dummy's depth along the spine is known from."""

    BASE = auto()
    STRIPS = auto()
    MARKS = auto()


@dataclass(frozen=True, slots=True)
class NearEnd:
    """How far a dummy's near end stands before a sheet that stands flush behind it: its depth, mm."""

    mm: float
    by: Depth


@dataclass(frozen=True, slots=True)
class TakenFor:
    """The sheet is taken for an arch or a backdrop, and why; nobody said it."""

    use: Use
    why: Why


@dataclass(frozen=True, slots=True)
class ApronUsed:
    """An apron hangs from the base: page line, spine and near end are taken from it."""


@dataclass(frozen=True, slots=True)
class PageKnown:
    """Marks lie on the page: a sheet folded there, or a doorstep; the page line is taken from them."""

    source: PageSource


Assumed = TakenFor | NearEnd | ApronUsed | PageKnown
"""What is taken for granted about where the dummy stands; a `NearEnd` is a standoff nobody measured."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Placing:
    """A way to take the sheet.

    Attributes
    ----------
    use : "arch" or "backdrop".
    standoff_mm, standoff_err_mm : how far before the sheet the near end stands, and its standard uncertainty.
    view : the photo's view; with an apron, joints in the near end's plane hang on it as the apron says.
    assumed : what is taken for granted, in the order it was.
    """

    use: Use
    standoff_mm: float
    standoff_err_mm: float
    view: View
    assumed: tuple[Assumed, ...] = ()

    @property
    def arch(self) -> bool:
        """Whether the dummy shows through the cut window."""
        return self.use == "arch"


def placings(solved: Solved, near_end: NearEnd | None = None) -> tuple[Placing, ...]:
    """Return the ways to take the sheet, likeliest first; a second one only where nobody said which.

    An uncut lower band can also belong to a window cut without it, the dummy standing on a book; and the
    band of an uncut sheet can be hidden by the dummy in front of it.

    Parameters
    ----------
    solved : the photo and its set-up.
    near_end : depth of the dummy by its design; None = not known, then a backdrop wants a standoff.

    Raises
    ------
    SetupError : what was said contradicts itself, or a backdrop's standoff is not known.
    """
    setup = solved.setup
    seen = solved.sighting.bottom_band_seen
    use, assumed = _taken_for(setup, seen)
    ways = [_placed(solved.view, setup, use, near_end, assumed)]
    if setup.use == "auto" and setup.standoff_mm is None:
        other: Use = "arch" if use == "backdrop" else "backdrop"
        if other == "arch" or near_end is not None:
            why = (TakenFor(other, Why.OTHER_MADE_NO_SENSE),)
            ways.append(_placed(solved.view, setup, other, near_end, why))
    return tuple(ways)


def with_marks(placing: Placing) -> Placing:
    """Return the placing by what marks on the page say of the near end, or an apron that hangs there."""
    page = placing.view.page
    if page is not None:
        return replace(
            placing,
            view=replace(placing.view, z_gradient=page.near_gradient),
            standoff_mm=page.near_z_mm,
            standoff_err_mm=page.near_sd_mm,
            assumed=(*placing.assumed, PageKnown(page.source)),
        )
    apron = placing.view.apron
    if apron is None:
        return placing
    return replace(
        placing,
        view=replace(placing.view, z_gradient=apron.standoff_gradient),
        standoff_mm=apron.standoff_mm,
        standoff_err_mm=apron.standoff_rest_sd,
        assumed=(*placing.assumed, ApronUsed()),
    )


def _taken_for(setup: Setup, band_seen: bool) -> tuple[Use, tuple[Assumed, ...]]:
    """How the sheet was used, and what that rests on where nobody said it."""
    if setup.use != "auto":
        return setup.use, ()
    if setup.standoff_mm and not band_seen:
        return "backdrop", ()  # only there something stands off
    if band_seen:
        return "backdrop", (TakenFor("backdrop", Why.BAND_SEEN),)
    return "arch", (TakenFor("arch", Why.BAND_NOT_SEEN),)


def _placed(
    view: View, setup: Setup, use: Use, near_end: NearEnd | None, assumed: tuple[Assumed, ...]
) -> Placing:
    """Where the near end stands under one use."""
    if use == "arch":
        if setup.standoff_mm:
            raise SetupError(Option.STANDOFF, " belongs to backdrop use; an arch stands flush (standoff 0)")
        return Placing(use=use, standoff_mm=0.0, standoff_err_mm=RULED_DEPTH_SD, view=view, assumed=assumed)
    if setup.standoff_mm is not None:
        stated = setup.standoff_mm
        return Placing(
            use=use, standoff_mm=stated, standoff_err_mm=RULED_DEPTH_SD, view=view, assumed=assumed
        )
    if near_end is None:
        raise SetupError(
            "the sheet is taken for a backdrop: give ",
            Option.STANDOFF,
            ", the mm from the sheet to the near end of the dummy (measure it, it sets the scale), or say ",
            Option.USE_ARCH,
        )
    return Placing(
        use=use,
        standoff_mm=near_end.mm,
        standoff_err_mm=SPEC_DEPTH_SD,
        view=view,
        assumed=(*assumed, near_end),
    )
