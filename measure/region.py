"""Where in the measuring plane a dummy can be, given the sheet and how it was used."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.view import View
from capture.sheet.marker_sheet import CUT_INSET_MM, MarkerSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionNumbers:
    """Tuned numbers; mm of the measuring plane."""

    below_mm: float = 12.0
    """So far below the sheet's lower edge, the table, a dummy is looked for: a base lies over its
    edge."""
    beside_mm: float = 25.0
    """So far beside a sheet that stands behind it."""
    under_page_mm: float = 3.0
    """So far below a page whose surface is known to a few tenths; farther down is the sill."""
    cut_clear_mm: float = 1.0
    """So far from the rim of a window that was cut by hand."""


TUNED = RegionNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Region:
    """Rectangle of the measuring plane that may show the dummy, and parts of it to be left out (mm).

    `table_mm` is the height of the table if sheet and dummy stand on the same; else None. `printed` are parts
    behind which the sheet's print is seen: its edges are no card's.
    """

    left: float
    right: float
    bottom: float
    top: float
    table_mm: float | None
    masked: tuple[tuple[float, float, float, float], ...] = ()
    printed: tuple[tuple[float, float, float, float], ...] = ()

    def holds(self, xy: Array) -> NDArray[np.bool_]:
        """Which points (N, 2) lie in it."""
        x, y = xy[:, 0], xy[:, 1]
        out: NDArray[np.bool_] = (x > self.left) & (x < self.right) & (y > self.bottom) & (y < self.top)
        return out


def search_region(
    view: View, sheet: MarkerSheet, standoff_mm: float, *, arch: bool, bottom_closed: bool
) -> Region:
    """Region of the plane z = standoff in which the near end may lie.

    Arch: what the cut window leaves free, down to below the sheet's lower edge (the table). Backdrop: the
    sheet as the camera sees it behind the dummy, and some more at the sides and below; its ring of squares
    is masked at the sides and the top, where the dummy seldom is.
    """
    half_w, half_h = sheet.paper_mm[0] / 2, sheet.paper_mm[1] / 2
    left, bottom, right, top = sheet.window
    if arch:
        d = CUT_INSET_MM + TUNED.cut_clear_mm
        if view.page is not None:  # the sheet stands on the page
            low = min(float(side.corners_mm[:2, 1].min()) for side in view.page.sides) - TUNED.under_page_mm
            return Region(left=left + d, right=right - d, bottom=low, top=top - d, table_mm=None)
        if bottom_closed:
            # The dummy stands on something as high as the lower band, its level is not known.
            return Region(left=left + d, right=right - d, bottom=bottom, top=top - d, table_mm=None)
        return Region(
            left=left + d, right=right - d, bottom=-half_h - TUNED.below_mm, top=top - d, table_mm=-half_h
        )
    eye = view.eye_mm()
    ratio = (eye[2] - standoff_mm) / eye[2]

    def seen(x: float, y: float) -> tuple[float, float]:
        p = eye[:2] + (np.array([x, y]) - eye[:2]) * ratio
        return float(p[0]), float(p[1])

    (w0, _), (w1, w_top) = seen(left, bottom), seen(right, top)
    (p0, low), (p1, _) = seen(-half_w, -half_h), seen(half_w, half_h)
    floor = min(low, -half_h) - TUNED.below_mm
    # The lower band of squares, as far as it is seen behind the dummy.
    (r0, r_low), (r1, r_top) = seen(sheet.ring[0], sheet.ring[1]), seen(sheet.ring[2], bottom)
    sides = ((p0 - TUNED.beside_mm, w0, floor, w_top), (w1, p1 + TUNED.beside_mm, floor, w_top))
    return Region(
        left=p0 - TUNED.beside_mm,
        right=p1 + TUNED.beside_mm,
        bottom=floor,
        top=w_top,
        table_mm=-half_h,
        masked=tuple(sides),
        printed=((r0, r1, r_low, r_top),),
    )
