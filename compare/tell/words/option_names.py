"""What the command line calls the things that errors and notes speak of."""

from collections.abc import Mapping
from enum import Enum
from types import MappingProxyType
from typing import Final

from capture.errors import FoldgaugeError, Option
from compare.compare_errors import LotOption

COMMAND_LINE: Final[Mapping[Enum, str]] = MappingProxyType(
    {
        Option.USE: "--use",
        Option.USE_ARCH: "--use arch",
        Option.USE_BACKDROP: "--use backdrop",
        Option.STANDOFF: "--standoff",
        Option.BARS: "--bars",
        Option.PRINTER: "--printer",
        Option.POINTS: "--points",
        Option.READING: "--reading",
        Option.LARGER_PAPER: "--paper a3",
        Option.CALIBRATE: "'foldgauge camera'",
        Option.DRAFT: "--draft",
        Option.FORCE: "--force",
        LotOption.MANIFEST: "--manifest",
        LotOption.NAMING: "--naming",
        LotOption.SIZE: "--size",
        LotOption.AQL: "--aql",
        LotOption.LEVEL: "--level",
        LotOption.TOGETHER: "--together",
        LotOption.MASTER: "--master",
        LotOption.LEDGER: "--ledger",
        LotOption.SCHEDULER: "--scheduler",
        LotOption.BY: "--by",
        LotOption.LENGTH: "--length",
    }
)


def error_line(err: FoldgaugeError) -> str:
    """Return an error as the command line tells it: in one line."""
    return " ".join(err.told(COMMAND_LINE).split())
