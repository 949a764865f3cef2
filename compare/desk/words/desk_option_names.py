"""What the desk calls the things that errors and notes speak of (`capture.errors.Option`)."""

from collections.abc import Mapping
from enum import Enum
from types import MappingProxyType
from typing import Final

from capture.errors import FoldgaugeError, Option

DESK: Final[Mapping[Enum, str]] = MappingProxyType(
    {
        Option.USE: "how the sheet stands",
        Option.USE_ARCH: "the sheet as an arch",
        Option.USE_BACKDROP: "the sheet as a backdrop",
        Option.STANDOFF: "the distance from sheet to near end",
        Option.BARS: "the check bars, under Set-up",
        Option.PRINTER: "the check bars, under Set-up",
        Option.POINTS: "a joint set by hand",
        Option.CALIBRATE: "a calibrated camera, under Set-up",
    }
)


def desk_line(err: FoldgaugeError) -> str:
    """Return an error as the desk tells it: in one line."""
    return " ".join(err.told(DESK).split())
