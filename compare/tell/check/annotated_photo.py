"""The photo with the measurement drawn in: what was found, what was meant, what is wrong.

Measured panels and joints in orange (solid), the design in sky blue (dashed) laid over it with its page line
on the measured one and its feet on the measured feet, faults in vermillion with a plate, what is in doubt
with a number. The picture is cut to the dummy and scaled so that it can be read on a phone.
"""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image

from capture.arrays import Pixels
from compare.tell.check.photo_marks import Listed, figure_words, frame_of, marks_of
from compare.tell.draw.bands import headline_band, legend_band, list_band
from compare.tell.draw.palette import DESIGN, FAULT, HEAD_BAD, HEAD_DOUBT, HEAD_GOOD, MEASURED, Colour, Pen
from compare.tell.draw.raster import painted
from compare.tell.result_files import ANNOTATED, png_mark, write_whole
from compare.tell.words.answer import answer
from compare.tell.words.plain_words import capital
from compare.units import Unit, unit_of
from compare.verdict.conformity import Verdict

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection

GROUND: Final[Mapping[Verdict, Colour]] = MappingProxyType(
    {Verdict.CONFORMS: HEAD_GOOD, Verdict.FAILS: HEAD_BAD, Verdict.OPEN: HEAD_DOUBT}
)
LIST_TITLE: Final = "by number: measured ±U (off by)"


def pens_told(verdict: Verdict, *, faults: bool) -> list[tuple[str, Pen]]:
    """Return what the lines of the picture mean; where nothing is proven, a fault is but suspected."""
    out = [("measured", MEASURED), ("design", DESIGN)]
    return [*out, ("at fault" if verdict is Verdict.FAILS else "suspected", FAULT)] if faults else out


def listed_words(listed: Listed, unit: Unit) -> str:
    """Return what the list below the picture says of a number in it."""
    i = listed.item
    said = "" if i.verdict is Verdict.OPEN else f"  {i.verdict.value}"
    return f"{i.name}  {figure_words(i, unit)}{said}"


def annotated(inspection: "Inspection") -> Pixels:
    """Return the annotated photo, (H, 1600, 3) uint8 RGB."""
    frame = frame_of(inspection)
    picture = frame.cut(inspection.photo.bgr)
    drawn = marks_of(inspection, frame, len(picture))
    picture = painted(picture, (*drawn.design, *drawn.measured, *drawn.faults, *drawn.labels))
    unit = unit_of(inspection.spec.units)
    parts = [headline_band(answer(inspection.findings), GROUND[inspection.verdict]), picture]
    if drawn.listed:
        rows = [(str(x.number), listed_words(x, unit), x.loud) for x in drawn.listed]
        doubt = "" if any(x.loud for x in drawn.listed) else "In doubt, "
        parts.append(list_band(capital(f"{doubt}{LIST_TITLE}"), rows))
    foot = f"off by, {unit.name}, ±U (k=2)   {inspection.photo.name}"
    pens = pens_told(inspection.verdict, faults=bool(drawn.faults))
    parts.append(legend_band(pens, foot, by_hand="by hand" if inspection.profile.by_hand else ""))
    return np.vstack(parts)


def write_annotated(inspection: "Inspection", path: Path, *, replace: bool = False) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    image = Image.fromarray(annotated(inspection))
    write_whole(
        path,
        lambda temporary: image.save(temporary, format="PNG", pnginfo=png_mark(ANNOTATED)),
        ANNOTATED,
        replace=replace,
    )
