"""How large the printer really printed: two check bars read with a steel rule."""

from dataclasses import dataclass
from typing import Final

from capture.errors import SheetError
from capture.sheet import MarkerSheet

UNMEASURED_SD: Final = 4e-3
"""Doubt of the print scale where nobody measured it: printers range over 99 to 101 % (common practice, no
source)."""

_LEAST_SD: Final = 1e-4
_ABSURD: Final = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintScale:
    """True mm per nominal mm.

    Attributes
    ----------
    across, up : the two scales.
    across_sd, up_sd : their standard uncertainties.
    measured : False if nobody has measured the bars.
    """

    across: float = 1.0
    up: float = 1.0
    across_sd: float = UNMEASURED_SD
    up_sd: float = UNMEASURED_SD
    measured: bool = False

    @classmethod
    def from_bars(
        cls, sheet: MarkerSheet, across_mm: float, up_mm: float, reading_sd_mm: float = 0.1
    ) -> "PrintScale":
        """Scale from the lengths of the check bars as read.

        Parameters
        ----------
        sheet : the sheet that was printed.
        across_mm, up_mm : what the rule says for the bar across and the bar up.
        reading_sd_mm : standard uncertainty of one reading.

        Raises
        ------
        SheetError
            A reading is more than 3 % off: another bar was measured, or the sheet was not printed at 100 %.
        """
        if not reading_sd_mm > 0:
            raise SheetError(f"the uncertainty of a bar reading must be above 0 mm, got {reading_sd_mm}")
        scales = []
        for bar, read_mm in zip(sheet.bars, (across_mm, up_mm), strict=True):
            scale = read_mm / bar.length_mm
            if not abs(scale - 1) <= _ABSURD:
                raise SheetError(
                    f"check bar {bar.name}: {read_mm:g} mm read where {bar.length_mm:.0f} mm is printed; "
                    "measure from tick to tick in mm, or print the sheet again at 100 %"
                )
            scales.append((scale, max(reading_sd_mm / bar.length_mm, _LEAST_SD)))
        (across, across_sd), (up, up_sd) = scales
        return cls(across=across, up=up, across_sd=across_sd, up_sd=up_sd, measured=True)
