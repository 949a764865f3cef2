"""The printed marker sheet: where every mark lies, for each paper size.

A ring of checkerboard squares, two squares wide, runs round a window. The white squares carry coded tags
(dictionary 36h11 of Olson, "AprilTag: a robust and flexible visual fiducial system", 2011) that say which
sheet it is and which square is which. What is MEASURED are the saddles, the crossings of black and white on
the middle line of the ring: ink gain, blur and over-exposure move the corner of a black square, but not a
saddle.

Sheet coordinates: nominal mm, origin at the middle of the paper in landscape, x right, y up.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.errors import SheetError

TAG_SHARE: Final = 0.8
"""Side of a tag (with its black border) as a share of its square: one module of white stays round it."""

TAG_MODULES: Final = 8
"""Modules along a tag's side: six of code and one of black border on each side."""

CUT_INSET_MM: Final = 2.0
"""The window is cut this far inside its edge, so that the ring keeps its inner squares whole."""

BAR_OFFSET_MM: Final = 2.2
"""Distance of a check bar from the ring: clear of the ring, and inside what most printers can print."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckBar:
    """A printed length to be measured with a steel rule, from the middle of one end tick to the other.

    Attributes
    ----------
    name : "across" or "up".
    start_mm, end_mm : (x, y) of the middles of the two ticks, nominal mm.
    """

    name: str
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]

    @property
    def length_mm(self) -> float:
        """Nominal length, mm."""
        return float(np.hypot(self.end_mm[0] - self.start_mm[0], self.end_mm[1] - self.start_mm[1]))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MarkerSheet:
    """Geometry of one sheet; all lengths are nominal mm in sheet coordinates.

    Attributes
    ----------
    paper : "a4", "letter", "a3" or "tabloid".
    paper_mm : (width, height) of the paper in landscape.
    square_mm : side of a checkerboard square.
    n_cols, n_rows : squares across and up (the whole ring, outside).
    first_id : id of the tag in the top left white square; ids run row by row from the top.
    saddles : (N, 2) crossings on the middle line of the ring, read-only.
    saddle_sign : (N,) +1 where the square up and right of the saddle is black, -1 where it is white.
    in_bottom_band : (N,) True for the saddles that the arch cut takes away.
    tags : id -> (4, 2) corners of the tag: top left, top right, bottom right, bottom left.
    black_squares : (M, 2) lower left corners of the black squares.
    window : (left, bottom, right, top) of the inside of the ring; four zeros on a calibration board.
    bars : the two check bars, "across" then "up".
    fold_mm : height of the line below which the sheet is folded forward (see `capture.sheet.sill`); None on
        a sheet printed without a sill.
    """

    paper: str
    paper_mm: tuple[float, float]
    square_mm: float
    n_cols: int
    n_rows: int
    first_id: int
    saddles: Array = field(repr=False)
    saddle_sign: Array = field(repr=False)
    in_bottom_band: NDArray[np.bool_] = field(repr=False)
    tags: Mapping[int, Array] = field(repr=False)
    black_squares: Array = field(repr=False)
    window: tuple[float, float, float, float]
    bars: tuple[CheckBar, CheckBar]
    fold_mm: float | None = None

    @property
    def ring(self) -> tuple[float, float, float, float]:
        """(left, bottom, right, top) of the outside of the ring."""
        w, h = self.n_cols * self.square_mm / 2, self.n_rows * self.square_mm / 2
        return -w, -h, w, h

    @property
    def cut_path(self) -> Array:
        """(4, 2) window cut for arch use, from lower left up, across and down; open at the bottom."""
        left, bottom, right, top = self.window
        d = CUT_INSET_MM
        return np.array([[left + d, bottom], [left + d, top - d], [right - d, top - d], [right - d, bottom]])

    @property
    def arch_cuts(self) -> tuple[Array, Array]:
        """The two (2, 2) straight cuts from the window's lower corners down to the edge of the paper."""
        left, bottom, right, _ = self.window
        edge = -self.paper_mm[1] / 2
        return np.array([[left, bottom], [left, edge]]), np.array([[right, bottom], [right, edge]])


def arch_outline(sheet: MarkerSheet) -> Array:
    """Outline (K, 2) of the paper that REMAINS after the arch cut, nominal mm, counter-clockwise.

    Starts at the paper's lower left corner; not closed (the last point is not the first).
    """
    half_w, half_h = sheet.paper_mm[0] / 2, sheet.paper_mm[1] / 2
    left_cut, right_cut = sheet.arch_cuts
    inner = [left_cut[1], left_cut[0], *sheet.cut_path, right_cut[0], right_cut[1]]
    outer = [(half_w, -half_h), (half_w, half_h), (-half_w, half_h), (-half_w, -half_h)]
    return np.array([(-half_w, -half_h), *inner, *outer[:3]], dtype=float)


def sheet_of_tags(ids: Iterable[int]) -> MarkerSheet | None:
    """Return the sheet that most of the tag ids belong to; None if no id belongs to any sheet."""
    votes = Counter(SHEET_OF_ID[i] for i in ids if i in SHEET_OF_ID)
    return SHEETS[votes.most_common(1)[0][0]] if votes else None


def sheet_for_paper(paper: str) -> MarkerSheet:
    """Return the sheet for a paper size by name.

    Raises
    ------
    SheetError
        The name is not one of `SHEETS`.
    """
    try:
        return SHEETS[paper.lower()]
    except KeyError:
        raise SheetError(f"no sheet for paper '{paper}'; choose one of {', '.join(SHEETS)}") from None


def readonly(values: object) -> Array:
    """Return a read-only copy."""
    out = np.array(values, dtype=float)
    out.setflags(write=False)
    return out


def tags_in(
    white: Iterable[tuple[int, int]], square: float, corner: tuple[float, float], first_id: int
) -> Mapping[int, Array]:
    """Tags by id, their corners (4, 2), in the white squares (column, row) of a checkerboard.

    `corner` is the lower left corner of square (0, 0); ids count up in the order given.
    """
    half = TAG_SHARE * square / 2
    around = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
    x0, y0 = corner
    return MappingProxyType(
        {
            first_id + i: readonly(around + [x0 + (c + 0.5) * square, y0 + (r + 0.5) * square])
            for i, (c, r) in enumerate(white)
        }
    )


def build_sheet(
    paper: str,
    paper_mm: tuple[float, float],
    square: float,
    n_cols: int,
    n_rows: int,
    first_id: int,
    *,
    full: bool = False,
) -> MarkerSheet:
    """Lay out one sheet; square (0, 0) is the lower left one and black. `full`: no window, all squares."""
    x0, y0 = -n_cols * square / 2, -n_rows * square / 2
    ring = [
        (c, r)
        for r in range(n_rows - 1, -1, -1)
        for c in range(n_cols)
        if full or c < 2 or r < 2 or c >= n_cols - 2 or r >= n_rows - 2
    ]
    black = [(x0 + c * square, y0 + r * square) for c, r in ring if (c + r) % 2 == 0]
    nodes = [
        (c, r)
        for r in range(n_rows - 1, 0, -1)
        for c in range(1, n_cols)
        if full or c in (1, n_cols - 1) or r in (1, n_rows - 1)
    ]
    band = np.array([not full and r == 1 and 2 <= c <= n_cols - 2 for c, r in nodes])
    band.setflags(write=False)
    bar_x, bar_y = x0 - BAR_OFFSET_MM, -y0 + BAR_OFFSET_MM
    return MarkerSheet(
        paper=paper,
        paper_mm=paper_mm,
        square_mm=square,
        n_cols=n_cols,
        n_rows=n_rows,
        first_id=first_id,
        saddles=readonly([(x0 + c * square, y0 + r * square) for c, r in nodes]),
        saddle_sign=readonly([1.0 if (c + r) % 2 == 0 else -1.0 for c, r in nodes]),
        in_bottom_band=band,
        tags=tags_in(((c, r) for c, r in ring if (c + r) % 2), square, (x0, y0), first_id),
        black_squares=readonly(black),
        window=(0.0, 0.0, 0.0, 0.0)
        if full
        else (x0 + 2 * square, y0 + 2 * square, -x0 - 2 * square, -y0 - 2 * square),
        bars=(
            CheckBar(name="across", start_mm=(x0, bar_y), end_mm=(x0 + 150.0, bar_y)),
            CheckBar(name="up", start_mm=(bar_x, -50.0), end_mm=(bar_x, 50.0)),
        ),
    )


SHEETS: Final[Mapping[str, MarkerSheet]] = MappingProxyType(
    {
        "a4": build_sheet("a4", (297.0, 210.0), 12.0, 23, 16, 0),
        "letter": build_sheet("letter", (279.4, 215.9), 12.0, 22, 16, 80),
        "a3": build_sheet("a3", (420.0, 297.0), 15.0, 27, 18, 160),
        "tabloid": build_sheet("tabloid", (431.8, 279.4), 15.0, 27, 17, 250),
    }
)
"""Every sheet by the name of its paper."""

SHEET_OF_ID: Final[Mapping[int, str]] = MappingProxyType(
    {i: name for name, sheet in SHEETS.items() for i in sheet.tags}
)
"""Tag id -> name of the paper."""
