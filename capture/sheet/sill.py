"""The sill: the part of the sheet that is folded forward by a right angle and lies on the page.

The sheet then stands ON the page, right at the near ends, and the page's surface, the near ends' plane, the
camera's place and its focal length all come from marks. A sheet printed without a sill has its bottom band of
squares: folded at the window's lower edge, that band serves as one.

All places are those of the flat paper, in the sheet's own coordinates (nominal mm, x right, y up); what lies
below the fold line is seen on the page.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from capture.arrays import Array
from capture.sheet.marker_sheet import SHEETS, TAG_SHARE, MarkerSheet, readonly

Side = Literal["left", "right", "both"]

CELL_MM: Final = (7.0, 10.5)
"""Width along the fold and depth of a cell: at 8 degrees above the page it looks 7 mm by 1.5 mm."""

N_ROWS: Final = 3
"""Rows of cells, so two rows of saddles: one row alone cannot tell height, angle and focal length apart."""

WHITE_BY_FOLD_MM: Final = 3.0
"""Black right at the fold would swallow the feet and tabs seen just above it."""

TAG_CELL_MM: Final = 14.0
"""Width of a tag's white cell; it is as deep as all rows together, so that it can be read at a low angle."""

BESIDE_TICK_MM: Final = 4.0
COIN_MM: Final = 23.0
COIN_GAP_MM: Final = 24.0
"""White between two blocks of cells, where a coin is laid: it hides no mark there."""

SILL_TAGS: Final = (457, 458, 459, 460)
DOORSTEP_TAGS: Final = (461, 462, 463, 464)
"""Ids from left to right; the same on every paper: the upright sheet says which it is."""

FOLD_SD_MM: Final = 0.35
"""A scored fold keeps to its line so well (common practice, no source)."""

_FOLDED_BY_EYE_SD_MM: Final = 0.5

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
    black_cells : (M, 2) lower left corners of the black cells to be printed.
    coin_mm : middle of the place for a coin that holds the piece flat; None where there is none.
    """

    side: Side
    span_mm: tuple[float, float]
    saddles: Array = field(repr=False)
    saddle_sign: Array = field(repr=False)
    cell_mm: tuple[float, float]
    plain: bool
    tags: Mapping[int, Array] = field(repr=False)
    black_cells: Array = field(repr=False)
    coin_mm: tuple[float, float] | None = None


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

    @property
    def tag_ids(self) -> tuple[int, ...]:
        """Ids of all its tags."""
        return tuple(i for part in self.parts for i in part.tags)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HalfPattern:
    """The pattern of one half, right of the tick; on the left the same columns lie mirrored.

    Attributes
    ----------
    cells_by_tick, cells_outside : columns of cells between tag and coin, and beyond the coin.
    """

    cells_by_tick: int
    cells_outside: int

    @property
    def blocks(self) -> tuple[tuple[float, int], tuple[float, int]]:
        """Start (mm from the tick) and number of columns of the two blocks of cells."""
        first = BESIDE_TICK_MM + TAG_CELL_MM
        second = first + self.cells_by_tick * CELL_MM[0] + COIN_GAP_MM
        return (first, self.cells_by_tick), (second, self.cells_outside)

    @property
    def outer_mm(self) -> float:
        """Outer end of the pattern, from the tick."""
        start, n = self.blocks[1]
        return start + n * CELL_MM[0] + TAG_CELL_MM

    @property
    def coin_mm(self) -> float:
        """Middle of the coin's place, from the tick."""
        return self.blocks[1][0] - COIN_GAP_MM / 2


PATTERN_DEPTH_MM: Final = N_ROWS * CELL_MM[1]

SILL_FOLDS: Final[Mapping[str, tuple[float, HalfPattern]]] = MappingProxyType(
    {
        "a4": (-63.0, HalfPattern(cells_by_tick=8, cells_outside=4)),
        "letter": (-63.0, HalfPattern(cells_by_tick=7, cells_outside=4)),
        "a3": (-108.0, HalfPattern(cells_by_tick=10, cells_outside=10)),
        "tabloid": (-100.5, HalfPattern(cells_by_tick=10, cells_outside=10)),
    }
)
"""Height of the fold line on each paper, 3 mm below the lowest squares that stay upright, and the pattern."""


def _part(
    side: Literal["left", "right"],
    pattern: HalfPattern,
    fold_mm: float,
    ids: tuple[int, int],
    outer_mm: float,
) -> SillPart:
    """Lay out one half; `ids` of its tags from left to right."""
    turn = 1.0 if side == "right" else -1.0
    bottom = fold_mm - WHITE_BY_FOLD_MM - PATTERN_DEPTH_MM
    width, depth = CELL_MM
    black, nodes, signs = [], [], []
    for start, n in pattern.blocks:
        x0 = start if side == "right" else -start - n * width
        for i in range(n):
            for j in range(N_ROWS):
                if (i + j) % 2 == 0:
                    black.append((x0 + i * width, bottom + j * depth))
                if i and j:
                    nodes.append((x0 + i * width, bottom + j * depth))
                    signs.append(1.0 if (i + j) % 2 == 0 else -1.0)
    middle = bottom + PATTERN_DEPTH_MM / 2
    half = TAG_SHARE / 2 * np.array([TAG_CELL_MM, PATTERN_DEPTH_MM])
    around = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    places = sorted(turn * (x + TAG_CELL_MM / 2) for x in (BESIDE_TICK_MM, pattern.outer_mm - TAG_CELL_MM))
    return SillPart(
        side=side,
        span_mm=(0.0, outer_mm) if side == "right" else (-outer_mm, 0.0),
        saddles=readonly(nodes),
        saddle_sign=readonly(signs),
        cell_mm=CELL_MM,
        plain=True,
        tags={i: readonly(around + [x, middle]) for i, x in zip(ids, places, strict=True)},
        black_cells=readonly(black),
        coin_mm=(turn * pattern.coin_mm, middle),
    )


def _split(
    pattern: HalfPattern, fold_mm: float, ids: tuple[int, int, int, int], outer_mm: float, depth_mm: float
) -> Sill:
    return Sill(
        fold_mm=fold_mm,
        fold_sd_mm=FOLD_SD_MM,
        depth_mm=depth_mm,
        has_tick=True,
        parts=(
            _part("left", pattern, fold_mm, ids[:2], outer_mm),
            _part("right", pattern, fold_mm, ids[2:], outer_mm),
        ),
    )


def sill_of(sheet: MarkerSheet) -> Sill:
    """Return what of a sheet is folded forward: its sill, else its bottom band."""
    return folded_band(sheet) if sheet.fold_mm is None else printed_sill(sheet)


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
        black_cells=readonly([c for c in sheet.black_squares if c[1] < fold]),
    )
    assert len(part.saddles) == round(-2 * x0 / sheet.square_mm) - 1
    return Sill(
        fold_mm=fold,
        fold_sd_mm=_FOLDED_BY_EYE_SD_MM,
        depth_mm=fold + sheet.paper_mm[1] / 2,
        has_tick=False,
        parts=(part,),
    )


def printed_sill(sheet: MarkerSheet) -> Sill:
    """Return the sill printed on a paper, in place of the bottom band."""
    fold, pattern = SILL_FOLDS[sheet.paper]
    half_w, half_h = sheet.paper_mm[0] / 2, sheet.paper_mm[1] / 2
    return _split(pattern, fold, SILL_TAGS, half_w, fold + half_h)


def sheet_with_sill(sheet: MarkerSheet) -> MarkerSheet:
    """Return the sheet as printed with a sill: the same ring, but for what lies below the fold.

    What stays upright is where it was, with the same tags, so that a photo need not tell which print it
    shows before the sill itself is seen.
    """
    sill = printed_sill(sheet)
    low = sill.fold_mm + WHITE_BY_FOLD_MM - 1e-9
    stays = sheet.saddles[:, 1] > low + 1e-6
    tags = {i: corners for i, corners in sheet.tags.items() if corners[:, 1].min() > low}
    band = np.zeros(int(stays.sum()), dtype=bool)
    band.setflags(write=False)
    left, _, right, top = sheet.window
    return replace(
        sheet,
        saddles=readonly(sheet.saddles[stays]),
        saddle_sign=readonly(sheet.saddle_sign[stays]),
        in_bottom_band=band,
        tags=MappingProxyType(tags | {i: c for part in sill.parts for i, c in part.tags.items()}),
        black_squares=readonly([c for c in sheet.black_squares if c[1] > low]),
        window=(left, sill.fold_mm, right, top),
        fold_mm=sill.fold_mm,
    )


SILL_SHEETS: Final[Mapping[str, MarkerSheet]] = MappingProxyType(
    {paper: sheet_with_sill(sheet) for paper, sheet in SHEETS.items()}
)
"""Every sheet with a sill by the name of its paper."""

DOORSTEP: Final = _split(HalfPattern(cells_by_tick=7, cells_outside=4), 0.0, DOORSTEP_TAGS, 137.0, 38.0)
"""The same pattern as a strip: x from its tick, y from its far edge, which touches the near ends."""
