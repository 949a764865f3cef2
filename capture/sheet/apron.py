"""The apron: a dark strip with marks that hangs from the near edge of the base.

It shows where a white base on a white table shows nothing: the page line, the spine and the plane of the near
end. Two halves, left and right of the spine; for a base that is propped open the strip is cut at the spine
and each half follows its page.

Apron coordinates: nominal mm, x right from the spine, y up from the fold line, z out of the printed face. The
flap above the fold line is folded back and glued under the page, so the fold line is the page's LOWER surface
at its near edge.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from capture.arrays import Array
from capture.sheet.marker_sheet import readonly, tags_in

SQUARE_MM: Final = 8.0
HALF_COLS: Final = 10
N_ROWS: Final = 3
BAND_MM: Final = 4.0
"""Height of the dark band between the fold line and the squares."""

FLAP_MM: Final = 12.0
BOTTOM_MM: Final = -30.0
"""Where the strip is cut off at the bottom."""

TICK_MM: Final = 0.6
"""Width of the white tick at the spine."""

PAPER_MM: Final = 0.1
"""The printed face lies this far in front of the near edge of the base."""

FOLD_SD_MM: Final = 0.1
"""How well the fold line lies on the lower surface of the page (common practice, no source)."""

SPINE_SD_MM: Final = 0.2
"""How well the tick is set to the spine by eye (common practice, no source)."""

FLUSH_SD_MM: Final = 0.1
"""How well the strip follows the near edge of the base, along the line of sight (common practice)."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ApronHalf:
    """One half of the apron, in apron coordinates.

    Attributes
    ----------
    side : "left" or "right".
    saddles : (N, 2) crossings that are measured, read-only; those on the spine are left out, for the strip
        may be cut there.
    saddle_sign : (N,) +1 where the square up and right of the saddle is black, -1 where it is white.
    tags : id -> (4, 2) corners: top left, top right, bottom right, bottom left.
    black_squares : (M, 2) lower left corners of the black squares.
    """

    side: str
    saddles: Array = field(repr=False)
    saddle_sign: Array = field(repr=False)
    tags: Mapping[int, Array] = field(repr=False)
    black_squares: Array = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageEdge:
    """Where the near edge of one page is: its lower surface, by the apron's fold line.

    Attributes
    ----------
    side : "left" or "right".
    ends_mm : (2, 3) the fold line at the spine and at the apron's outer end, true mm in sheet coordinates.
    cov : (6, 6) covariance of `ends_mm`, how well the apron is mounted included.
    n_saddles : marks this half was found by.
    """

    side: str
    ends_mm: Array
    cov: Array = field(repr=False)
    n_saddles: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ApronLines:
    """What an apron tells, in sheet coordinates.

    Attributes
    ----------
    edges : near edge of the left page, of the right page, or of one of them.
    spine_mm : (3,) the spine at the near end, lower surface of the pages.
    spine_cov : (3, 3) its covariance, mounting included.
    standoff_mm : height of the near end above the sheet at the spine (z of `spine_mm`).
    standoff_gradient : (16,) its change with the parameters of the view: these errors go together.
    standoff_rest_sd : what is left of its standard uncertainty when the view is known, mm.
    yaw_deg : how far the near end is turned out of parallel with the sheet, about the upright axis.
    """

    edges: tuple[PageEdge, ...]
    spine_mm: Array
    spine_cov: Array = field(repr=False)
    standoff_mm: float
    standoff_gradient: Array = field(repr=False)
    standoff_rest_sd: float
    yaw_deg: float


def _half(side: str, first_id: int) -> ApronHalf:
    cols = range(HALF_COLS) if side == "right" else range(-HALF_COLS, 0)
    corner = (0.0, -BAND_MM - N_ROWS * SQUARE_MM)
    squares = [(c, r) for r in range(N_ROWS - 1, -1, -1) for c in cols]
    nodes = [(c, r) for r in range(N_ROWS - 1, 0, -1) for c in range(cols[0], cols[-1] + 1) if c != cols[0]]

    def at(c: float, r: float) -> tuple[float, float]:
        return corner[0] + c * SQUARE_MM, corner[1] + r * SQUARE_MM

    return ApronHalf(
        side=side,
        saddles=readonly([at(c, r) for c, r in nodes]),
        saddle_sign=readonly([1.0 if (c + r) % 2 == 0 else -1.0 for c, r in nodes]),
        tags=tags_in([(c, r) for c, r in squares if (c + r) % 2], SQUARE_MM, corner, first_id),
        black_squares=readonly([at(c, r) for c, r in squares if (c + r) % 2 == 0]),
    )


APRON: Final[tuple[ApronHalf, ApronHalf]] = (_half("left", 500), _half("right", 515))
"""Left and right half."""

APRON_OUTER_MM: Final = HALF_COLS * SQUARE_MM
"""From the spine to the outer end of a half."""
