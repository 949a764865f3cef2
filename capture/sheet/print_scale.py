"""How large the printer really printed: two check bars read with a steel rule."""

from dataclasses import dataclass
from typing import Final

from capture.errors import SheetError
from capture.sheet.marker_sheet import MarkerSheet

UNMEASURED_SD: Final = 4e-3
"""Doubt of the print scale where nobody measured it: printers range over 99 to 101 % (common practice, no
source)."""

_LEAST_SD: Final = 1e-4
_ABSURD: Final = 0.03
_ALIKE: Final = 0.01
"""Both bars off by the same share, within this: the whole page was scaled."""


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
            A reading is more than 3 % off: another bar was measured, or the sheet was not printed at 100 %
            (both bars alike: "fit to page").
        """
        if not reading_sd_mm > 0:
            raise SheetError(f"the uncertainty of a bar reading must be above 0 mm, got {reading_sd_mm}")
        scales, sds = [], []
        for bar, read_mm in zip(sheet.bars, (across_mm, up_mm), strict=True):
            scales.append(read_mm / bar.length_mm)
            sds.append(max(reading_sd_mm / bar.length_mm, _LEAST_SD))
        across, up = scales
        if not (abs(across - 1) <= _ABSURD and abs(up - 1) <= _ABSURD):
            raise SheetError(_absurd(sheet, across, up))
        return cls(across=across, up=up, across_sd=sds[0], up_sd=sds[1], measured=True)


def _absurd(sheet: MarkerSheet, across: float, up: float) -> str:
    """Say what bars that are far off their printed lengths mean."""
    if abs(across / up - 1) < _ALIKE and 0.6 < across < 1.6:
        how = "'fit to page' or another paper size" if across < 1 else "enlarged, as for another paper size"
        return (
            f"both check bars are {100 * abs(across - 1):.1f} % too {'short' if across < 1 else 'long'}: the "
            f"sheet was printed {how}; print it again on {sheet.paper} paper at 100 %"
        )
    worse = 1 if abs(across - 1) <= _ABSURD else 0
    bar = sheet.bars[worse]
    return (
        f"check bar {bar.name}: {(across, up)[worse] * bar.length_mm:g} mm read where {bar.length_mm:.0f} mm "
        "is printed; measure from tick to tick in mm, or print the sheet again at 100 %"
    )
