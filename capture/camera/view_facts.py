"""What a solved view rests on: where the lens, the print scale and the marks are known from."""

from dataclasses import dataclass

from capture.lens_hint import LensHint


@dataclass(frozen=True, slots=True)
class LensCalibrated:
    """The lens is that of a calibrated camera.

    Attributes
    ----------
    camera, n_photos : its file, and the photos it rests on.
    turned : the photo was turned by a program, so the picture's centre is doubtful.
    taken_for : the camera it is taken for where the photo does not say which; else "".
    """

    camera: str
    n_photos: int
    turned: bool = False
    taken_for: str = ""


@dataclass(frozen=True, slots=True)
class LensHinted:
    """The lens is refined from what the photo says of it, or worked out from the sheet alone."""

    hint: LensHint


@dataclass(frozen=True, slots=True)
class PrintMeasured:
    """The print's scale across and up, by the check bars."""

    across: float
    up: float


@dataclass(frozen=True, slots=True)
class PrintTaken:
    """The print's scale is taken as 1, with this relative standard uncertainty."""

    sd: float


@dataclass(frozen=True, slots=True)
class MarksSeen:
    """How many of the uncut sheet's marks are seen."""

    seen: int
    expected: int


@dataclass(frozen=True, slots=True)
class MarksLeftOut:
    """How many of them disagreed with the rest and were left out."""

    count: int


ViewFact = LensCalibrated | LensHinted | PrintMeasured | PrintTaken | MarksSeen | MarksLeftOut
