"""The sill: the part of the sheet that is folded forward by a right angle and lies on the page.

The sheet then stands ON the page, right at the near ends, and the page's surface, the near ends' plane, the
camera's place and its focal length all come from marks. A sheet printed without a sill has its bottom band of
squares: folded at the window's lower edge, that band serves as one.

All places are those of the flat paper, in the sheet's own coordinates (nominal mm, x right, y up); what lies
below the fold line is seen on the page.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from capture.arrays import Array
from capture.sheet.marker_sheet import MarkerSheet, readonly

Side = Literal["left", "right", "both"]

CLEAR_OF_FOLD_MM: Final = 3.0
"""Marks nearer to the fold line than this are not used: card folds round a radius, not along a line."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SillPart:
    """One piece of a sill that lies on the page by itself.

    Attributes
    ----------
    side : "left" or "right" of the tick, or "both" where the sill is not split.
    span_mm : (left, right) ends of the piece along the fold.
    saddles : (N, 2) crossings that are measured, read-only.
    saddle_sign : (N,) +1 where the cell up and right of the saddle is black, -1 where it is white.
    cell_mm : (width, depth) of a cell of the pattern.
    plain : True where no tag lies in the cells round a saddle.
    tags : id -> (4, 2) corners: top left, top right, bottom right, bottom left.
    """

    side: Side
    span_mm: tuple[float, float]
    saddles: Array = field(repr=False)
    saddle_sign: Array = field(repr=False)
    cell_mm: tuple[float, float]
    plain: bool
    tags: Mapping[int, Array] = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sill:
    """A sheet's sill.

    Attributes
    ----------
    fold_mm : height of the fold line on the flat paper.
    fold_sd_mm : how well the fold keeps to it: scored along a printed line, or folded by eye.
    depth_mm : from the fold line to the near edge of the paper.
    has_tick : True where a tick at the fold's middle is set on the spine.
    parts : one piece, or the two halves of a sill split at the tick.
    """

    fold_mm: float
    fold_sd_mm: float
    depth_mm: float
    has_tick: bool
    parts: tuple[SillPart, ...]


def sill_of(sheet: MarkerSheet) -> Sill:
    """Return what of a sheet is folded forward."""
    return folded_band(sheet)


def folded_band(sheet: MarkerSheet) -> Sill:
    """Return the bottom band of a sheet without sill, folded at the lower edge of its window."""
    x0, bottom = sheet.ring[0], sheet.ring[1]
    fold = bottom + 2 * sheet.square_mm
    on_band = sheet.saddles[:, 1] < fold - CLEAR_OF_FOLD_MM
    half = sheet.paper_mm[0] / 2
    part = SillPart(
        side="both",
        span_mm=(-half, half),
        saddles=readonly(sheet.saddles[on_band]),
        saddle_sign=readonly(sheet.saddle_sign[on_band]),
        cell_mm=(sheet.square_mm, sheet.square_mm),
        plain=False,
        tags={i: corners for i, corners in sheet.tags.items() if corners[:, 1].max() < fold},
    )
    assert len(part.saddles) == round(-2 * x0 / sheet.square_mm) - 1
    return Sill(
        fold_mm=fold,
        fold_sd_mm=0.5,
        depth_mm=fold + sheet.paper_mm[1] / 2,
        has_tick=False,
        parts=(part,),
    )
