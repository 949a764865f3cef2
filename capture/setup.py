"""How a photo was taken: made once, handed on, never written while a photo is read."""

from dataclasses import dataclass
from math import isfinite
from typing import Any, Literal

from capture.camera.calibrated_camera import Camera
from capture.errors import Option, SetupError
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.print_scale import PrintScale
from capture.sheet.printer_file import Printer

Use = Literal["auto", "arch", "backdrop"]
"""How the sheet is used; "auto": whether its lower band is in the picture tells."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Setup:
    """How the photos of a dummy were taken.

    Attributes
    ----------
    use : "arch" (cut sheet, flush with the near end), "backdrop" (uncut sheet behind the dummy) or "auto".
    standoff_mm : backdrop use: distance from the sheet to the near end; None = not measured.
    bars_mm : lengths of the sheet's two check bars, across and up, read with a rule, mm; a third number is
        the standard uncertainty of a reading. They count before what the printer's file knows.
    printer : bars as remembered per paper; None = no such file.
    camera : a calibrated camera; None = what the photo says of its lens.
    """

    use: Use = "auto"
    standoff_mm: float | None = None
    bars_mm: tuple[float, ...] | None = None
    printer: Printer | None = None
    camera: Camera | None = None

    def __post_init__(self) -> None:
        """Keep the bars as a tuple; refuse what cannot be.

        Raises
        ------
        SetupError : one line.
        """
        if self.bars_mm is not None:
            object.__setattr__(self, "bars_mm", tuple(self.bars_mm))
            if len(self.bars_mm) not in (2, 3) or not all(isfinite(v) for v in self.bars_mm):
                raise SetupError(Option.BARS, ": two lengths are wanted, across and up, mm")
        if self.standoff_mm is not None and not self.standoff_mm >= 0:
            raise SetupError(Option.STANDOFF, f" must be 0 mm or more, got {self.standoff_mm:g}")

    def print_scale(self, sheet: MarkerSheet) -> PrintScale | None:
        """Scale of a print from the bars given, else from the printer's file; None if there is neither.

        Raises
        ------
        SheetError
            The bars make no sense, or the printer's file knows nothing of this paper.
        """
        if self.bars_mm is not None:
            return PrintScale.from_bars(sheet, *self.bars_mm)
        return None if self.printer is None else self.printer.scale(sheet)

    def as_dict(self) -> dict[str, Any]:
        """Return what was given, for a record; files by name and content, not by where they lie."""
        out: dict[str, Any] = {"use": self.use}
        if self.standoff_mm is not None:
            out["standoff_mm"] = self.standoff_mm
        if self.bars_mm is not None:
            out["bars_mm"] = list(self.bars_mm)
        elif self.printer is not None:  # with bars given there is nothing to look up
            out["printer_path"] = f"{self.printer.name} {self.printer.sha256}"
        if self.camera is not None:
            out["camera_path"] = f"{self.camera.name} {self.camera.sha256}"
        return out
